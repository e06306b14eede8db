"""The shop's jobs on one page: found, opened, listened to, corrected, compared, counted.

summary      what is told of a job in a list, and what is searched of it
tables       where summaries are kept, SQLite or PostgreSQL; thrown away and made again at will
words        what a person types into the search, for either of them
index        summaries in, jobs found
jobs         a folder of jobs and its index, held together
statistics   what a shop usually measures, and how a person gets on
drawing      values as small drawings
correction   what a review adds to a job, as events
gate         who may ask for what
sound        a clip, or a part of one
view         a job as its page shows it
pages        the answers
serving      the page, opened to this machine or to the workshop
"""
