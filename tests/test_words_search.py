"""The search keeps to the grammar, keeps the model's probabilities, and finds the best."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsgf_grammar import grammar

from handsfree.grammar import Automaton
from handsfree.words.acceptor import Acceptor, Listed, PerGrammar, Sentences
from handsfree.words.ear import Ear
from handsfree.words.search import Search, TokenGrammar
from handsfree.words.spelling import Spelling

LETTERS = "abcdefghijklmnopqrstuvwxyz ,"
END = len(LETTERS)


def spelling(marked: bool = False) -> Spelling:
    """Letters as tokens, with or without the comma."""
    known = LETTERS if marked else LETTERS.replace(",", "")
    return Spelling(
        lambda text: [LETTERS.index(c) for c in text.lower() if c in known],
        lambda tokens: "".join(LETTERS[t] for t in tokens),
        end=END,
        written=range(END),
    )


def written(tokens: Sequence[int]) -> str:
    return "".join(LETTERS[t] for t in tokens).strip()


class Model:
    """A toy that says each next letter with a probability by all letters before it."""

    def __init__(self, seed: int, texts: Sequence[str] = ()) -> None:
        self.seed, self.texts = seed, texts

    def after(self, said: tuple[int, ...]) -> np.ndarray:
        rng = np.random.default_rng([self.seed, *said])
        scores = rng.normal(size=END + 1) * 2
        for text in self.texts:
            whole = (*(LETTERS.index(c) for c in f" {text}"), END)
            if whole[: len(said)] == said and len(said) < len(whole):
                scores[whole[len(said)]] += 12
        return (scores - np.log(np.exp(scores).sum())).astype(np.float32)

    def follow(self, beginnings: Sequence[tuple[int, ...]]) -> list[np.ndarray]:
        return [self.after(said) for said in beginnings]

    def score(self, text: str) -> float:
        said: tuple[int, ...] = ()
        total = 0.0
        for token in (*(LETTERS.index(c) for c in f" {text}"), END):
            total += float(self.after(said)[token])
            said = (*said, token)
        return total

    def search(self, of: Automaton, width: int = 8, marked: bool = False):
        return self.among(Acceptor(of), width, marked)

    def among(self, sentences: Sentences, width: int = 8, marked: bool = False, slack: float = 6):
        letters = spelling(marked)
        search = Search(self.follow, letters, width=width, slack=slack)
        return search.run(TokenGrammar(sentences, letters))


BODY = "[the] (red | green) (wire | lead)+ | (four | five) [point (two | ten)] [volts | volt]"


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_what_is_found_is_a_sentence_with_the_models_own_probability(seed):
    model, of = Model(seed), grammar(BODY)
    found, _ = model.search(of)
    assert found
    assert [f.score for f in found] == sorted((f.score for f in found), reverse=True)
    for hypothesis in found:
        text = written(hypothesis.tokens)
        assert of.accepts(text.split())
        assert hypothesis.score == pytest.approx(model.score(text), rel=1e-4)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_a_wide_beam_finds_the_best_of_all_sentences(seed):
    of = grammar("[the] (red | green) (wire | lead) | (four | five) [volts | volt]")
    model = Model(seed)
    found, _ = model.search(of, width=50)
    best = max((" ".join(words) for words, _ in of.sentences()), key=model.score)
    assert written(found[0].tokens) == best


def test_punctuation_adds_to_the_probability_of_the_same_words():
    model, of = Model(3, ["red, wire", "red wire"]), grammar("red wire | green wire")
    plain, _ = model.search(of)
    marked, _ = Model(3, model.texts).search(of, marked=True)
    together = np.logaddexp(model.score("red wire"), model.score("red, wire"))
    assert marked[0].score == pytest.approx(together, abs=1e-3)
    assert marked[0].score > plain[0].score


def test_speech_outside_the_grammar_beats_every_sentence():
    model = Model(1, ["put the kettle on"])
    found, free = model.search(grammar(BODY))
    assert free is not None
    assert written(free.tokens) == "put the kettle on"
    assert free.score > found[0].score + 5


def test_a_long_talk_is_not_lost_against_two_words_of_the_grammar():
    """Each letter costs a little, so that a long text ends far below a short one."""
    talk = "they lost again last night and nobody told me that the game was over"
    model = Model(5, [talk])
    _, free = model.search(grammar("red | green"))
    assert free is not None
    assert talk.startswith(written(free.tokens)[:40]), "as far as it was followed"


def test_free_dictation_follows_the_model():
    model = Model(2, ["note the connector is green"])
    found, _ = model.search(_with_any())
    assert written(found[0].tokens) == "note the connector is green"


def _with_any() -> Automaton:
    from handsfree.grammar import ANY
    from handsfree.grammar.parsing import Arc

    table = (
        (Arc("note", 1, (), 0.5), Arc("red", 2, (), 0.5)),
        (Arc(ANY, 1, (), 1.0),),
        (),
    )
    return Automaton(table, {1: ((),), 2: ((),)})


def test_sentences_that_are_listed_are_all_scored_and_no_others():
    texts = ["red wire", "red", "green lead", "four point ten volts"]
    found, _ = Model(4).among(Listed(texts), width=20, slack=1000)
    assert {written(f.tokens) for f in found} == set(texts)
    for hypothesis in found:
        assert hypothesis.score == pytest.approx(
            Model(4).score(written(hypothesis.tokens)), rel=1e-4
        )


class Asked(Model):
    """A toy that keeps what it was asked, pass by pass."""

    def ear(self, marked: bool = False) -> Ear:
        letters = spelling(marked)
        self.passes: list[Sequence[tuple[int, ...]]] = []
        grammars = PerGrammar(lambda of: TokenGrammar(Acceptor(of), letters))
        return Ear(self.after(()), self.take_in, letters, grammars)

    def take_in(self, beginnings: Sequence[tuple[int, ...]]) -> list[np.ndarray]:
        self.passes.append(beginnings)
        return self.follow(beginnings)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_texts_that_are_known_are_scored_in_one_pass_as_step_by_step(seed):
    texts, model = ["red wire", "red", "green lead", "four point ten volts"], Asked(seed)
    scores = model.ear().score(texts)
    assert scores == pytest.approx({text: model.score(text) for text in texts}, rel=1e-4)
    (taken,) = model.passes
    assert len(taken) == len(set(taken)), "nothing is taken in twice"


def test_of_a_text_that_is_known_all_likely_spellings_count():
    model = Asked(3, ["red, wire", "red wire"])
    scores = model.ear(marked=True).score(["red wire"])
    together = np.logaddexp(model.score("red wire"), model.score("red, wire"))
    assert scores == pytest.approx({"red wire": together}, abs=0.02)


def test_texts_that_differ_in_punctuation_alone_are_scored_apart():
    known = "reds' "
    letters = Spelling(
        lambda text: [known.index(c) for c in text.lower() if c in known],
        lambda tokens: "".join(known[t] for t in tokens),
        end=len(known),
        written=range(len(known)),
    )
    alike = np.full(len(known) + 1, -np.log(len(known) + 1), np.float32)
    grammars = PerGrammar(lambda of: TokenGrammar(Acceptor(of), letters))
    ear = Ear(alike, lambda beginnings: [alike] * len(beginnings), letters, grammars)
    scores = ear.score(["reds", "red's", "red"])
    assert scores == pytest.approx({t: (len(t) + 2) * alike[0] for t in ("reds", "red's", "red")})


def test_what_is_far_below_a_known_sentence_is_not_followed():
    of, sentence = grammar(BODY), "the green wire"
    model = Model(8, [sentence])
    known = Search(model.follow, spelling(), likely=model.score(sentence))
    asked = []

    def follow(beginnings):
        asked.extend(beginnings)
        return model.follow(beginnings)

    found, _ = Search(model.follow, spelling()).run(TokenGrammar(Acceptor(of), spelling()))
    fewer = replace(known, follow=follow)
    same, _ = fewer.run(TokenGrammar(Acceptor(of), spelling()), freely=False)
    assert same[0] == found[0]
    assert len(asked) < 30


def test_nothing_can_be_listed_too():
    listed = Listed(["", "red wire"])
    assert listed.final(listed.start)
    assert not listed.final(listed.next(listed.start)["red"])
    assert listed.next(listed.next(listed.start)["red"]).keys() == {"wire"}


def test_the_acceptor_takes_what_the_automaton_takes():
    of = grammar(BODY)
    arcs, finals = Acceptor(of).transitions()
    seen = {(source, word) for source, word, _ in arcs}
    assert len(seen) == len(arcs), "one state after each word"
    step = {(source, word): target for source, word, target in arcs}
    for text in ("the red wire lead", "four point ten volt", "the green", "four two", "five"):
        state: int | None = 0
        for word in text.split():
            state = step.get((state, word)) if state is not None else None
        assert (state in finals) == of.accepts(text.split())


def test_what_is_made_of_a_grammar_is_kept_for_a_while():
    made = []
    kept = PerGrammar(lambda g: made.append(g) or len(made), most=2)
    a, b, c = grammar("a"), grammar("b"), grammar("c")
    assert [kept[a], kept[a], kept[b], kept[a], kept[c], kept[a], kept[b]] == [1, 1, 2, 1, 3, 1, 4]
