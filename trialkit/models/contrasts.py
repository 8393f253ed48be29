"""From a question in words to rows of contrasts over the fixed coefficients.

Marginal means and hypotheses are read off a reference grid: every combination of the
labels, at the mean of every column that acts as a number, all combinations of equal weight
(Searle, Speed and Milliken 1980, American Statistician 34:216-221).
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import pandas as pd
from formulaic.parser.types import Term

from trialkit.errors import ModelError
from trialkit.models.crossproducts import FixedPart
from trialkit.models.model_frame import Design
from trialkit.models.records import Floats

#: Rows of the reference grid beyond which a formula has more labels than a trial can hold.
_GRID_ROWS = 200_000
#: Relative size at which a part of a contrast is rounding.
_ROUNDING = 1e-8
#: Share of a column's length outside the others, below which they span it; see `crossproducts`.
_SPANNED = 1e-9


def marginal_means(design: Design, factor: str) -> tuple[tuple[object, ...], Floats]:
    """Return the levels of a factor and the contrast that gives each level's mean.

    Parameters
    ----------
    design
        The fixed part.
    factor
        A column of the formula that acts as labels.

    Returns
    -------
    tuple, ndarray
        Levels, and rows over all design columns, shape (levels, columns).

    Raises
    ------
    ModelError
        If the column is not in the formula or acts as a number.
    """
    _require_labels(design, factor)
    levels = design.levels[factor]
    grid = _reference_grid(design)
    return levels, _level_weights(grid, factor, levels) @ design.rows(grid)


def term_contrasts(design: Design, part: FixedPart, term: str) -> Floats:
    """Return the contrasts that are all zero where a term has no effect.

    A term that is part of no other term: nothing is left of it beside the other terms, which
    with all columns kept is to say that its own coefficients are zero. A term that an
    interaction of the formula contains: its effect averaged over the other labels with equal
    weight and at the mean of other numbers is zero (the marginal, 'type III' hypothesis),
    which does not depend on how the labels are coded. In a formula without intercept, a term
    of labels alone is tested for differences among its levels.

    Parameters
    ----------
    design, part
        The fixed part, and which of its columns were kept.
    term
        A term as in the formula, or the columns it is made of, such as `"nitro"` for
        `C(nitro)` or `"variety:nitro"`.

    Returns
    -------
    ndarray
        Contrasts over the orthonormal columns, shape (contrasts, p); not necessarily
        independent, and none where the data can say nothing on the term.

    Raises
    ------
    ModelError
        If the formula has no such term.
    """
    found = _find_term(design, term)
    labels = [name for name in _columns(design, found) if name in design.levels]
    numbers = [name for name in _columns(design, found) if name not in design.levels]
    bare = bool(labels) and not numbers and not _has_intercept(design)
    if _contained(design, found) or bare:
        rows = _marginal_contrasts(design, found, labels, numbers)
        return part.rotate(_estimable_part(rows, part))
    return _own_contrasts(part, list(design.spec.term_indices[found]))


def check_terms(design: Design, part: FixedPart) -> None:
    """Refuse a term of labels of which nothing is left beside the other terms.

    Raises
    ------
    ModelError
        Such as where each treatment lies in a block of its own, and both are in the formula.
    """
    if not part.dropped:
        return
    for term in design.spec.terms:
        labels = [name for name in _columns(design, term) if name in design.levels]
        own = list(design.spec.term_indices[term])
        if labels and not _contained(design, term) and not len(_own_contrasts(part, own)):
            others = [str(o) for o in design.spec.terms if o != term and str(o) != "1"]
            raise ModelError(
                f"'{term}' cannot be told from the rest of the formula "
                f"({', '.join(others) or 'the overall mean'}): the records never show one "
                "without the other. Leave one of them out; if that is a treatment and its "
                "block, the trial cannot tell what the treatment did."
            )


def _has_intercept(design: Design) -> bool:
    return any(str(term) == "1" for term in design.spec.terms)


def _contained(design: Design, term: Term) -> bool:
    """Whether another term, an interaction, holds all that this one holds."""
    own = _expressions(term)
    return own != {"1"} and any(own < _expressions(other) for other in design.spec.terms)


def _expressions(term: Term) -> set[str]:
    return {str(factor.expr) for factor in term.factors}


def _own_contrasts(part: FixedPart, own: list[int]) -> Floats:
    """Return what a term's columns hold that the others do not, over the orthonormal columns."""
    others = np.delete(part.all_columns, own, axis=1)
    lengths = np.sqrt((others**2).sum(axis=0))
    left, sizes, _ = np.linalg.svd(others / np.where(lengths > 0, lengths, 1.0))
    rank = int((sizes > _SPANNED).sum())
    return np.asarray(left[:, rank:].T)


def _estimable_part(rows: Floats, part: FixedPart) -> Floats:
    """Return the combinations of contrasts that the data can estimate, over the kept columns."""
    kept = rows[:, list(part.kept)]
    if not part.dropped:
        return kept
    left, sizes, _ = np.linalg.svd(_remainder(rows, part))
    rank = int((sizes > _tolerance(rows)).sum())
    return left[:, rank:].T @ kept


def _remainder(rows: Floats, part: FixedPart) -> Floats:
    kept, dropped = rows[:, list(part.kept)], rows[:, list(part.dropped)]
    return np.asarray(dropped - kept @ part.aliases)


def _tolerance(rows: Floats) -> float:
    return _ROUNDING * max(1.0, float(np.abs(rows).max(initial=0.0)))


def require_estimable(rows: Floats, part: FixedPart, words: list[str]) -> Floats:
    """Write contrasts over the kept columns, or refuse what the data cannot estimate.

    Parameters
    ----------
    rows
        Contrasts over all design columns, shape (contrasts, columns).
    part
        Columns kept and dropped.
    words
        What each contrast is, for the message.

    Returns
    -------
    ndarray
        Shape (contrasts, kept).

    Raises
    ------
    ModelError
        Naming the first that cannot be estimated.
    """
    impossible = (np.abs(_remainder(rows, part)) > _tolerance(rows)).any(axis=1)
    if impossible.any():
        what = words[int(impossible.argmax())]
        raise ModelError(
            f"These records cannot estimate {what}: some combination of labels has no "
            "record, or columns cannot be told apart. Leave out the term that mixes them."
        )
    return rows[:, list(part.kept)]


def comparisons(
    design: Design, part: FixedPart, factor: str, against: object | None, word: str
) -> tuple[Floats, pd.Index]:
    """Return the contrasts that compare the levels of a factor, and how to name them.

    Parameters
    ----------
    design, part
        The fixed part, and which of its columns were kept.
    factor
        A column of the formula that acts as labels.
    against
        The level to compare with, or None for all pairs.
    word
        What stands between two levels in a message, such as `"less"`.

    Returns
    -------
    ndarray, Index
        Rows over the kept columns; the level compared, or for all pairs the two levels.

    Raises
    ------
    ModelError
        If the factor or the level is unknown, or a comparison cannot be estimated.
    """
    levels, rows = marginal_means(design, factor)
    place = None if against is None else _level_place(levels, against, factor)
    pairs, steps = _steps(len(levels), place)
    words = [f"'{levels[a]}' {word} '{levels[b]}'" for a, b in pairs]
    kept = require_estimable(steps @ rows, part, words)
    if against is not None:
        return kept, pd.Index([levels[a] for a, _ in pairs], name=factor)
    named = [(levels[a], levels[b]) for a, b in pairs]
    return kept, pd.MultiIndex.from_tuples(named, names=[factor, "against"])


def _steps(count: int, against: int | None) -> tuple[list[tuple[int, int]], Floats]:
    """Return pairs of levels, and the rows over the levels that subtract second from first."""
    if against is None:
        pairs = list(combinations(range(count), 2))
    else:
        pairs = [(level, against) for level in range(count) if level != against]
    rows = np.zeros((len(pairs), count))
    for row, (first, second) in enumerate(pairs):
        rows[row, first], rows[row, second] = 1.0, -1.0
    return pairs, rows


def _level_place(levels: tuple[object, ...], against: object, factor: str) -> int:
    if against not in levels:
        known = ", ".join(str(level) for level in levels)
        raise ModelError(f"'{factor}' has no level '{against}'. It has: {known}.")
    return levels.index(against)


def _require_labels(design: Design, factor: str) -> None:
    if factor in design.levels:
        return
    if factor in design.means:
        raise ModelError(
            f"'{factor}' acts as a number in this formula, so it has no levels to average. "
            f"Write C({factor}) in the formula to treat its values as labels."
        )
    known = list(design.levels)
    near = difflib.get_close_matches(factor, known, n=1)
    hint = f"Did you mean '{near[0]}'?" if near else f"It has: {', '.join(known) or 'no labels'}."
    raise ModelError(f"The formula has no column '{factor}'. {hint}")


def _reference_grid(design: Design) -> pd.DataFrame:
    sizes = [len(values) for values in design.levels.values()]
    rows = int(np.prod(sizes, dtype=float)) if sizes else 1
    if rows > _GRID_ROWS:
        raise ModelError(
            f"The labels of the formula make {rows} combinations, too many to average over. "
            "Move columns with many labels to the random terms."
        )
    places = np.indices(sizes).reshape(len(sizes), rows)
    columns: dict[str, object] = {
        name: _cells(values, place)
        for (name, values), place in zip(design.levels.items(), places, strict=True)
    }
    columns |= {name: np.full(rows, mean) for name, mean in design.means.items()}
    return pd.DataFrame(columns, index=range(rows))


def _cells(values: tuple[object, ...], place: np.ndarray) -> object:
    if all(isinstance(value, int | float) and not isinstance(value, bool) for value in values):
        return np.array(values)[place]
    return pd.Categorical.from_codes(place, categories=pd.Index(values))


def _level_weights(grid: pd.DataFrame, factor: str, levels: tuple[object, ...]) -> Floats:
    chosen = np.stack([(grid[factor] == level).to_numpy(dtype=float) for level in levels])
    return np.asarray(chosen / chosen.sum(axis=1, keepdims=True))


def _marginal_contrasts(
    design: Design, term: Term, labels: list[str], numbers: list[str]
) -> Floats:
    grid = _reference_grid(design)
    weights = np.full((1, len(grid)), 1.0 / len(grid))
    for name in labels:
        chosen = _level_weights(grid, name, design.levels[name]) * len(design.levels[name])
        steps = chosen[1:] - chosen[:1]
        weights = (weights[:, None, :] * steps[None, :, :]).reshape(-1, len(grid))
    rows = weights @ _slopes(design, grid, numbers)
    indices = design.spec.term_indices[term]
    most = int(np.prod([len(design.levels[name]) for name in labels], dtype=int))
    if numbers and len(indices) > most:
        raise ModelError(
            f"'{term}' bends, and other terms contain it, so it has no single slope to test. "
            "Give test() a matrix of contrasts instead."
        )
    return rows


def _slopes(design: Design, grid: pd.DataFrame, numbers: list[str]) -> Floats:
    """Return the grid's design columns, differenced once in each of the numbers."""
    total = np.zeros((len(grid), len(design.columns)))
    for size in range(len(numbers) + 1):
        for moved in combinations(numbers, size):
            shifted = grid.assign(**{n: grid[n] + design.spreads[n] for n in moved})
            total += (-1.0) ** (len(numbers) - size) * design.rows(shifted)
    return total


def _columns(design: Design, term: Term) -> list[str]:
    used = design.spec.term_variables[term]
    names = {str(name) for name in used}
    return [name for name in [*design.levels, *design.means] if name in names]


def _find_term(design: Design, term: str) -> Term:
    wanted = term.replace(" ", "")
    terms = list(design.spec.terms)
    if wanted in {"1", "Intercept"}:
        wanted = "1"
    for candidate in terms:
        if str(candidate).replace(" ", "") == wanted:
            return candidate
    matches = list(_terms_of_columns(design, {part.strip() for part in term.split(":")}))
    if len(matches) == 1:
        return matches[0]
    known = ", ".join(str(candidate) for candidate in terms)
    several = "more than one such term" if matches else "no such term"
    raise ModelError(f"'{term}': the formula has {several}. Its terms are: {known}.")


def _terms_of_columns(design: Design, columns: set[str]) -> Iterator[Term]:
    for candidate in design.spec.terms:
        if set(_columns(design, candidate)) == columns:
            yield candidate
