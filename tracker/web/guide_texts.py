"""One page for each door: what to do there, in the order in which it is done, and where to take care.

The page /guides/<door> and docs/guides/<door>.md are both made from this.
"""

from __future__ import annotations

from dataclasses import dataclass

from tracker.cautions import caution_of


@dataclass(frozen=True, slots=True)
class Guide:
    """A door's page: parts of a heading and sentences; at most two cautions."""

    title: str
    about: str
    parts: tuple[tuple[str, tuple[str, ...]], ...]
    cautions: tuple[str, ...] = ()


GUIDES: dict[str, Guide] = {
    "coordinator": Guide(
        "Guide for the school coordinator",
        "One sheet a week says what was counted, read and seen at your school. Five minutes are enough.",
        (
            (
                "During the week",
                (
                    "Print the paper sheet of the week, or write the figures straight into the phone.",
                    "Count only what the sheet asks for: one stroke for each visit, never who it was.",
                    "Leave a box empty if nobody counted. Write 0 only if somebody looked and there was none.",
                    "Never write a pupil's name, class or initials.",
                ),
            ),
            (
                "What to count, and what not",
                (
                    "Visits: each time somebody goes in, also for a short time; not people who wait outside.",
                    "At the bell: pupils who still wait in the queue when the bell ends the break; not those inside.",
                    "Meters and counters: all digits as they stand, without the digits behind a point or in red.",
                    "Supplies: single pieces, not packs; what is left is counted after the last refill of the week.",
                    "Used supplies: burns that were started and how full the bin is; nobody counts or opens what is "
                    "inside.",
                    "Working or not: what somebody saw that day; leave the day empty if nobody looked.",
                    "Lessons: how many girls and boys were there; never who they were.",
                ),
            ),
            (
                "Send the week",
                (
                    "Scan the square on the paper sheet, or type its code, to open the right week.",
                    "Copy the boxes in the order of the paper, then the control total.",
                    "Where a question comes up, look at the sheet again. If the figure is right, write how you know.",
                    "Write the reference on the paper. If you saw a reference, your week is stored.",
                ),
            ),
            (
                "Danger",
                (
                    "Somebody in danger or locked in: call for help first, then press Report now.",
                    "The unit is closed at once. Only the officer opens it again.",
                ),
            ),
        ),
        ("incinerator", "bins"),
    ),
    "officer": Guide(
        "Guide for the programme officer",
        "Your first page lists what needs you today, with the reason and the act beside each line.",
        (
            (
                "Each day",
                (
                    "Danger comes first. A unit opens again with the name of the competent person who checked it.",
                    "Then what is out of service past the promise, what runs out, and who has not reported yet.",
                ),
            ),
            (
                "Read the sheets",
                (
                    "Accept a sheet, or ask about one figure.",
                    "The school sees your question when it next opens the app.",
                    "Question and answer stay with the figure.",
                    "A difference from the paper's control total is a question as well: ask the school to look at the "
                    "paper.",
                ),
            ),
            (
                "Each term",
                (
                    "Plan rounds from the list of what runs out, and print what goes to whom.",
                    "Read the term's report, mend what its checks name, then publish it.",
                ),
            ),
        ),
        ("cleaning", "water"),
    ),
    "engineer": Guide(
        "Guide for the service engineer",
        "My jobs is one page: danger first, then what is out of service, then visits that are due.",
        (
            (
                "At the school",
                (
                    "Press I am there, and say for each unit whether it works, works partly, or stays out of service.",
                    "Write what you found, what you did and which parts you used.",
                    "Read the dials with all digits; an exchanged dial is recorded first.",
                ),
            ),
            (
                "What not to write",
                (
                    "Nothing about a pupil. No settings and no repair steps: those stand in the maker's manual.",
                    "A unit closed for danger opens only with the name of the competent person who checked it.",
                ),
            ),
        ),
        ("live_parts", "incinerator"),
    ),
    "funder": Guide(
        "Guide for funders",
        "You read what was published, and can check how each figure came about.",
        (
            (
                "Reading a figure",
                (
                    "Each figure says its unit, how it is known, and how complete its records are.",
                    "An estimate has an interval. Where nothing was recorded, the page says so; that is not zero.",
                    "Fewer than 10 pupils are never shown as a number.",
                ),
            ),
            (
                "Checking it",
                (
                    "A published report does not change. A revision is a new one, with its reason.",
                    "Download the tables to add up the totals yourself.",
                ),
            ),
        ),
    ),
    "administrator": Guide(
        "Guide for the administrator",
        "You set up the programme once, then keep people, schools and settings as they are.",
        (
            (
                "Setting up",
                (
                    "Enter terms and days without school first, then schools, their breaks, units and dials.",
                    "Say for each unit how its visits are counted, from which day.",
                    "Choose settings with their reason; each change is kept with who made it.",
                ),
            ),
            (
                "People",
                (
                    "Give each person their own log-in and only the doors they need.",
                    "End a role when somebody leaves. What they sent stays.",
                ),
            ),
            (
                "Cautions",
                (
                    "Have a qualified person of your country review each caution before schools rely on it.",
                    "Until then each one says that it is general advice, not checked for this site.",
                ),
            ),
        ),
        ("electrical", "incinerator"),
    ),
}


def as_text(door: str) -> str:
    """A guide as a page of docs/guides."""
    guide = GUIDES[door]
    lines = [f"# {guide.title}", "", guide.about]
    for heading, said in guide.parts:
        lines += ["", f"## {heading}", "", *(f"- {sentence}" for sentence in said)]
    if guide.cautions:
        lines += ["", "## Take care"]
    for one in map(caution_of, guide.cautions):
        steps = " ".join(one.steps)
        lines += ["", f"**{one.signal.value}: {one.hazard}** {one.harm} {steps} {one.defer} {one.standing}"]
    return "\n".join(lines) + "\n"
