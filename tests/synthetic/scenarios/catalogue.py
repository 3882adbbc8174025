"""Every labelled match there is, as recipes: a scenario is made only when it is wanted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tests.synthetic.scenarios.bench import listed
from tests.synthetic.scenarios.healthy import healthy_recipes
from tests.synthetic.scenarios.model import Recipe, Scenario
from tests.synthetic.scenarios.pairs import MAKERS, pair_recipes


def cause_recipes() -> list[Recipe]:
    return list(listed(MAKERS))


def all_recipes() -> list[Recipe]:
    """Causes, healthy matches and confusable sets, in a fixed order."""
    return [*cause_recipes(), *healthy_recipes(), *pair_recipes()]


def ci_subset() -> list[Recipe]:
    """Some 120 matches that take about half a minute to make: per cause one at 100 Hz and good sensors and one at
    50 Hz, every fourth healthy match, and the confusable sets at 100 Hz."""
    causes = [r for r in cause_recipes() if r.name.endswith(("_0", "_3"))]
    healthy = [r for r in healthy_recipes() if not r.name.endswith("1000hz")][::2]
    pairs = [r for r in pair_recipes() if r.name.endswith("_0")]
    return [*causes, *healthy, *pairs]


def made(recipes: Iterable[Recipe | Scenario]) -> Iterator[Scenario]:
    """One scenario at a time, so that memory stays small."""
    for item in recipes:
        yield item.make() if isinstance(item, Recipe) else item
