"""The grammar of our readings as a trigram model in ARPA form, the form of grammar that pocketsphinx is quick with.

It is counted from the very phrases from which our own recogniser's grammar is counted. (Written out as rules, in JSGF,
the same readings cost pocketsphinx 3 to 20 s of processor time a clip, and made no fewer errors in a trial.)
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict

from capture.language.vocabulary import UNKNOWN
from capture.speech.grammar import vocabulary_grammar

_Gram = tuple[str, ...]


def arpa(order: int = 3) -> str:
    """Write the model: Witten-Bell smoothing (Bell, Cleary and Witten 1990), base-ten logarithms, sentence marks.

    Args:
        order: Longest run of words counted, 2 or 3.
    """
    counts, followers = _counted(order)
    lines = ["\\data\\"]
    grams = {n: sorted(gram for gram in counts if len(gram) == n) for n in range(1, order + 1)}
    lines += [f"ngram {n}={len(grams[n])}" for n in grams]
    for n, found in grams.items():
        lines.append(f"\n\\{n}-grams:")
        for gram in found:
            probability = -99.0 if gram == ("<s>",) else math.log10(_probability(gram, counts, followers))
            back = f"\t{_back_off(gram, counts, followers):.4f}" if n < order and gram[-1] != "</s>" else ""
            lines.append(f"{probability:.4f}\t{' '.join(gram)}{back}")
    return "\n".join([*lines, "", "\\end\\", ""])


def _counted(order: int) -> tuple[Counter[_Gram], dict[_Gram, Counter[str]]]:
    """Count how often each run of words occurs, and what follows each."""
    counts: Counter[_Gram] = Counter()
    followers: dict[_Gram, Counter[str]] = defaultdict(Counter)
    for phrase in vocabulary_grammar(lambda _word: True).phrases:
        words = ["<s>", *phrase.split(), "</s>"]
        if UNKNOWN in words:
            continue  # pocketsphinx has no word for unknown speech
        counts.update((word,) for word in words)
        for n in range(2, order + 1):
            for at in range(len(words) - n + 1):
                counts[tuple(words[at : at + n])] += 1
                followers[tuple(words[at : at + n - 1])][words[at + n - 1]] += 1
    followers[()] = Counter({gram[0]: count for gram, count in counts.items() if len(gram) == 1 and gram != ("<s>",)})
    return counts, followers


def _probability(gram: _Gram, counts: Counter[_Gram], followers: dict[_Gram, Counter[str]]) -> float:
    """Give the probability of the last word after the others."""
    after = followers[gram[:-1]]
    total, kinds = after.total(), len(after)
    if not gram[:-1]:
        return (after[gram[-1]] + 0.5) / (total + 0.5 * kinds)
    return (after[gram[-1]] + kinds * _probability(gram[1:], counts, followers)) / (total + kinds)


def _back_off(gram: _Gram, counts: Counter[_Gram], followers: dict[_Gram, Counter[str]]) -> float:
    """Give the logarithm of the weight of shorter runs where the longer one was never seen."""
    after = followers.get(gram)
    if not after:
        return 0.0
    # The shares of seen and unseen words are made to add up to one, as the form demands.
    seen = sum(_probability((*gram, word), counts, followers) for word in after)
    shorter = sum(_probability((*gram[1:], word), counts, followers) for word in after)
    return math.log10(max(1e-6, 1 - seen) / max(1e-6, 1 - shorter))
