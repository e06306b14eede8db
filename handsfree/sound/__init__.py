"""Sound in and out.

audio, recordings           files, and the utterances in them
microphone, speaker         devices, in a process of their own (`device`, watched by `card`),
                            through `portaudio`
blocks, endpoint            the stream, and where an utterance begins and ends
voice, pieces, tones        the read-back voice, what it says piece by piece, and signals
"""
