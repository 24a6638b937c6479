"""Which way a token was spoken, from what was heard: twenty five or two five, a ratio or a time."""

from __future__ import annotations

from collections.abc import Sequence

from annotate.speech.numbers import Words
from annotate.speech.spoken import Script, Token, Ways


def sentences_for_listening(script: Script) -> list[tuple[str, ...]]:
    """The script's sentences as spoken words, once for every further way its tokens have."""
    out: list[tuple[str, ...]] = []
    by_sentence: dict[int, list[Token]] = {}
    for token in script.tokens:
        by_sentence.setdefault(token.sentence, []).append(token)
    for tokens in by_sentence.values():
        for number in range(max(len(token.ways) for token in tokens)):
            ways = [token.ways[min(number, len(token.ways) - 1)] for token in tokens]
            words = tuple(word for way in ways for word in way)
            if words:
                out.append(words)
    return out


def chosen_ways(tokens: Sequence[Token], heard: Sequence[str]) -> list[Words]:
    """For every token the way it was most often heard between its neighbours, all tokens that have
    the same ways together: a speaker reads a thing the same way throughout. Ties go to the likeliest."""
    text = f" {' '.join(heard)} "
    first = [token.ways[0] if token.ways else () for token in tokens]
    scores: dict[Ways, list[int]] = {}
    for index, token in enumerate(tokens):
        if len(token.ways) < 2:
            continue
        before = first[index - 1][-1:] if index else ()
        after = first[index + 1][:1] if index + 1 < len(tokens) else ()
        score = scores.setdefault(token.ways, [0] * len(token.ways))
        for number, way in enumerate(token.ways):
            for words in ((*before, *way), (*way, *after)):
                score[number] += f" {' '.join(words)} " in text
    best = {ways: ways[score.index(max(score))] for ways, score in scores.items()}
    return [best.get(token.ways, way) for token, way in zip(tokens, first, strict=True)]
