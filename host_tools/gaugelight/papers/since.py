"""What changed since another page: the tables by their own words, all else by what both pages hold."""

from __future__ import annotations

from collections.abc import Iterator

from gaugebox.table import Table, TableError
from gaugelight.changes import changes
from gaugelight.papers.data import Held
from gaugelight.papers.facts import Facts, Since, changing

MOST_POINTS = 12  # named one by one


def since(name: str, old: Held, facts: Facts) -> Since:
    """In words, one line a thing; nothing where they are alike."""
    return Since(name, old.made_on, old.crc, tuple(_lines(old, facts)))


def _lines(old: Held, facts: Facts) -> Iterator[str]:
    if old.crc != facts.crc:
        yield f"table: {old.crc} to {facts.crc}"
        try:
            yield from changes(Table(old.image), Table(facts.built.image))
        except TableError as problem:
            yield f"the table of that page cannot be read ({problem}); compare the box files"
    new = changing(facts)
    for thing in [*(thing for thing in old.said if thing not in new), *new]:
        was, now = old.said.get(thing), new.get(thing)
        if was is None or now is None:
            yield f"{thing}: {'gone' if now is None else 'new'}"
        elif told := list(_differences(was, now)):
            yield f"{thing}: {'; '.join(told)}"


def _differences(was: dict[str, str | list[str]], now: dict[str, str | list[str]]) -> Iterator[str]:
    for what in [*(what for what in was if what not in now), *now]:
        before, after = was.get(what), now.get(what)
        if before == after:
            continue
        if isinstance(before, list) or isinstance(after, list):
            yield from _listed(what, list(before or ()), list(after or ()))
        elif before is None or after is None:
            yield f"{what} {before or after} {'gone' if after is None else 'new'}"
        else:
            yield f"{what} {before or 'nothing'} to {after or 'nothing'}"


def _listed(what: str, before: list[str], after: list[str]) -> Iterator[str]:
    gone, new = (
        [one for one in these if one not in those] for these, those in ((before, after), (after, before))
    )
    if len(gone) + len(new) > MOST_POINTS:
        yield f"{what}: {len(before)} to {len(after)}, {len(new)} of them new"
        return
    if gone:
        yield f"{what} gone: {', '.join(gone)}"
    if new:
        yield f"{what} new: {', '.join(new)}"
    if not gone and not new:
        yield f"{what} in another order"
