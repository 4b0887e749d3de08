"""Help beside each page: what it answers, what to press, and what the keyboard does."""

from __future__ import annotations

HELP: dict[str, tuple[str, ...]] = {
    "morning": (
        "Dangers and people who are not heard of stand first. Secure or close the road, then read"
        " on.",
        "The strip shows ten days: the coloured bar is all your road by what its surface is like,"
        " and below it stands where each kind of work is a go.",
        "“Plan the week” needs about twenty seconds and goes on when you close the page.",
        "Under “The crew” one press gives the word for today. Plan again and the work goes to"
        " others.",
    ),
    "roads": (
        "Choose what the colours say above the map. Press a road, or find it by a part of its"
        " name.",
        "Keyboard: type in “Find a road”, go down with the arrow key, Enter opens, Escape closes.",
    ),
    "moisture": (
        "Roads by days: what the surface will be like, how sure that is, and why. Press a road for"
        " its figures.",
        "Tell how it really is: what a driver felt counts more than what was reckoned.",
    ),
    "plan": (
        "Take a job by the dotted handle and drop it on another machine or day, or press “change”.",
        "The bar at the foot says at once what it costs. Nothing counts until you keep it; undo"
        " takes the last step back.",
        "Keyboard: Enter on a handle picks the job up, the arrow keys choose, Enter puts it down,"
        " Escape leaves it.",
        "Every job left out has its reason below, fit for a public record.",
    ),
    "cards": (
        "A card is a draft until a named person issues it; its text is frozen then.",
        "What holds a card up stands under it. Tick several to issue or print them together.",
        "Something wrong on an issued card? Withdraw it with the reason; its next version is"
        " written anew.",
    ),
    "ledger": (
        "Dangers with the times of notice, barricade and repair; what residents asked and were"
        " told.",
        "The other books: work and costs, what is left open, the day's time sheet, event codes,"
        " and how long records are kept.",
    ),
    "gravel": (
        "Pits with their tests, what their gravel costs on a road, blends, piles, cutting edges"
        " and dust control.",
    ),
    "settings": (
        "Machines and people here; rates and thresholds, each with what it rests on, one press"
        " further.",
        "A changed figure is a new version. The one before is never lost and can be put back.",
    ),
    "years": ("What a smaller or larger budget would do to condition and gravel over the years.",),
    "field": (
        "Who is out, what the cab told, and what waits for a foreman's yes.",
        "A phone works without signal and sends later; nothing has to be typed twice.",
    ),
}
"""By the page's way-mark."""
