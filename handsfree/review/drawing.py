"""Values as small drawings: SVG that stands in the page, without script and without style."""

from __future__ import annotations

from markupsafe import Markup

from handsfree.review.statistics import BARS, UsualReadings, bars, rounded

STRIP_WIDTH, STRIP_HEIGHT, FOOT = 288, 56, 8


def strip(one: UsualReadings) -> Markup:
    """How often which value was read, and where the marked one stands; empty without numbers.

    What failed stands hatched upon what passed, so that it is told apart without colours.
    """
    count = len(one.numbers)
    if not count:
        return Markup("")
    counted = bars(one)
    most = max(p + f for p, f in zip(counted.passed, counted.failed, strict=True))
    wide, tall = STRIP_WIDTH / BARS, STRIP_HEIGHT - FOOT - 2
    drawn = []
    for at, (passed, failed) in enumerate(zip(counted.passed, counted.failed, strict=True)):
        top = float(STRIP_HEIGHT - FOOT)
        for many, kind in ((passed, "passed"), (failed, "failed")):
            if many:
                height = max(tall * many / most, 1.0)
                top -= height
                place = f'x="{at * wide:.1f}" y="{top:.1f}" width="{wide - 1:.1f}"'
                drawn.append(f'<rect class="{kind}" {place} height="{height:.1f}"/>')
    if one.marked_value is not None:
        here = counted.place(one.marked_value) * STRIP_WIDTH
        drawn.append(f'<path class="mark" d="M{here:.1f} {STRIP_HEIGHT - FOOT}l-5 8h10zV0"/>')
    said = Markup("{} readings, {} to {} {}{}").format(
        count,
        rounded(counted.low),
        rounded(counted.high),
        one.unit,
        f"; this job {one.marked}" if one.marked else "",
    )
    return Markup(
        '<svg class="strip" role="img" viewBox="-6 0 {} {}" aria-label="{}">{}</svg>'
    ).format(STRIP_WIDTH + 12, STRIP_HEIGHT, said, Markup("").join(map(Markup, drawn)))
