"""Files of one kind taken together: the order of day and month in their dates, and revisions of one document."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from pipeline.errors import SetAside, short
from pipeline.ingest.content import content_of
from pipeline.ingest.draft import Draft, tried
from pipeline.ingest.names import WellRegistry
from pipeline.ingest.propose import ASKED, CHECK, LIKELY, Guess, Proposal
from pipeline.ingest.propose.named import quoted

MOST_TRIED = 40
"""Files of a group that are read with a proposed map, beside the one that it was made from."""
_FORMAT = re.compile(r'format = "([^"]*)"')
_REVISIONS = (
    r"(?i)[ _.-]*\(?(?<![A-Za-z])(?:revision|rev|version|ver)[ _.]*(?P<rev>\d+)\)?(?=\.[a-z])",
    r"(?i)[ _-]+v(?P<rev>\d+)(?=\.[a-z])",
    r" ?\((?P<rev>\d+)\)(?=\.[A-Za-z])",
)
"""How a file's name tells its revision: without the mark it is the name of the document."""


@dataclass(frozen=True)
class _Reading:
    """Whether a file can be read as proposed, and with day and month exchanged."""

    name: str
    as_is: bool
    exchanged: bool
    problem: str


def settled(draft: Draft, own: Path, rest: Sequence[Path], names: WellRegistry, spool: Path) -> tuple[Draft, list[str]]:
    """Decide what one file leaves open by the other files of its kind.

    Parameters
    ----------
    draft : Draft
    own : Path
        The file that it was made from.
    rest : sequence of Path
        The other files of its group.
    names : WellRegistry
    spool : Path
        Folder for rows that are too large for memory.

    Returns
    -------
    draft : Draft
        With the order of day and month that the files can be read with, or with a question where they contradict.
    problems : list of str
        Files that it cannot read, each with the reason.
    """
    if draft.shaped is None or not rest:
        return draft, []
    either = _ambiguous(draft.proposal)
    other = _exchanged(draft.proposal)
    found = []
    for number, path in enumerate(rest[:MOST_TRIED]):
        problem = _problem(draft.proposal, path, names, spool / f"as is {number}")
        asked = other is not None and (either or problem)
        turned = asked and other is not None and not _problem(other, path, names, spool / f"exchanged {number}")
        found.append(_Reading(short(path.name), not problem, bool(turned), problem))
    only_turned = [one.name for one in found if one.exchanged and not one.as_is]
    only_as_is = [one.name for one in found if one.as_is and not one.exchanged] if either else []
    if only_turned and either and not only_as_is and other is not None:
        why = f"'{only_turned[0]}' can only be read so"
        turned_draft = tried(_decided(other, why), content_of(own), own.name, names, spool / "turned")
        if turned_draft.shaped is not None:
            return turned_draft, [f"{one.name}: {one.problem}" for one in found if not one.exchanged]
    proposal = draft.proposal
    if only_turned and (only_as_is or not either):
        proposal = _contradicted(proposal, (only_as_is or [short(own.name)])[0], only_turned)
    elif only_as_is:
        proposal = _decided(proposal, f"'{only_as_is[0]}' can only be read so")
    return replace(draft, proposal=proposal), [f"{one.name}: {one.problem}" for one in found if not one.as_is]


def _problem(proposal: Proposal, path: Path, names: WellRegistry, spool: Path) -> str:
    """Return why a file cannot be read with a proposed map; empty if it can."""
    try:
        return short(tried(proposal, content_of(path), path.name, names, spool, leave_out=False).problem, 160)
    except (SetAside, OSError) as error:
        return short(str(error), 160)


def _both_orders(guess: Guess) -> str | None:
    """Return the channel of a guess with day and month of its format exchanged; None if it has no such format."""
    written = (match for match in _FORMAT.finditer(guess.text) if "%d" in match[1] and "%m" in match[1])
    match = next(written, None)
    if match is None or match[1].startswith("%Y"):
        return None
    turned = match[1].replace("%d", "%\0").replace("%m", "%d").replace("%\0", "%m")
    return f"{guess.text[: match.start(1)]}{turned}{guess.text[match.end(1) :]}"


def _asks(guess: Guess) -> bool:
    """Whether a guess leaves the order of day and month open."""
    return guess.confidence == ASKED and bool(guess.candidates) and _both_orders(guess) is not None


def _ambiguous(proposal: Proposal) -> bool:
    return any(_asks(guess) for guess in proposal.guesses)


def _exchanged(proposal: Proposal) -> Proposal | None:
    """Return a proposal with day and month exchanged wherever a format has both; None if none has."""
    turned = [replace(guess, text=_both_orders(guess) or guess.text) for guess in proposal.guesses]
    return None if turned == proposal.guesses else replace(proposal, guesses=turned)


def _decided(proposal: Proposal, why: str) -> Proposal:
    """Return a proposal whose order of day and month is no question any more."""
    guesses = [
        replace(guess, confidence=LIKELY, candidates=(), why=why) if _asks(guess) else guess
        for guess in proposal.guesses
    ]
    left = [question for question in proposal.questions if "day and month could be exchanged" not in question]
    return replace(proposal, guesses=guesses, questions=left)


def _contradicted(proposal: Proposal, one: str, others: Sequence[str]) -> Proposal:
    more = f" and {len(others) - 1} more" if len(others) > 1 else ""
    question = (
        f"dates: '{others[0]}'{more} can only be read with day and month in the other order than '{one}': "
        "put them into folders of their own, with a map for each"
    )
    return replace(_decided(proposal, "the files of this kind contradict each other"), questions=[
        question, *_decided(proposal, "").questions
    ])  # fmt: skip


def with_revisions(proposal: Proposal, files: Sequence[Path]) -> Proposal:
    """Return a proposal with the pattern of revisions, if names of files differ in nothing but a revision's number."""
    for pattern in _REVISIONS:
        documents: dict[str, list[str]] = defaultdict(list)
        for path in sorted(files):
            match = re.search(pattern, path.name)
            bare = path.name if match is None else path.name[: match.start()] + path.name[match.end() :]
            documents[f"{path.parent}/{bare}"].append(path.name)
        several = [held for held in documents.values() if len(held) > 1]
        if several:
            newest = max(several[0], key=lambda name: _number(pattern, name))
            older = next(name for name in several[0] if name != newest)
            question = (
                f"revisions: '{short(newest)}' replaces '{short(older)}' ({len(several)} document(s) with several "
                "files): right? (remove 'revision_pattern' if they are different jobs)"
            )
            settings = [
                *proposal.settings,
                f"revision_pattern = {quoted(pattern)}  {CHECK} names differ in nothing else",
            ]
            return replace(proposal, settings=settings, questions=[*proposal.questions, question])
    return proposal


def with_numbers(proposal: Proposal, files: Sequence[Path]) -> Proposal:
    """Return a proposal in which no two files get the same stage, or run, because none says its own.

    The number is taken from the names where they differ in one number only; else it is left out, and asked.
    """
    guess = next((one for one in proposal.guesses if one.lake in ("stage", "run") and one.place < 0), None)
    names = [path.name for path in files]
    if guess is None or guess.confidence != ASKED or len(names) < 2:
        return proposal
    kept = [one for one in proposal.guesses if one is not guess]
    questions = [one for one in proposal.questions if not one.startswith(f"{guess.lake}: neither")]
    pattern = None
    if not any(line.startswith("name_pattern") for line in proposal.settings):
        pattern = _only_number(names, guess.lake)
    if pattern is None:
        asked = (
            f"{guess.lake}: neither these {len(names)} files nor their names tell it: add a 'name_pattern', or a column"
        )
        return replace(proposal, guesses=kept, questions=[asked, *questions])
    found = re.search(pattern, names[0])
    number = found[guess.lake] if found else ""
    asked = f"{guess.lake}: '{number}', the only number in which the files' names differ: right?"
    line = f"name_pattern = {quoted(pattern)}  {CHECK} the only number in which the names differ"
    return replace(proposal, guesses=kept, questions=[asked, *questions], settings=[*proposal.settings, line])


def _only_number(names: Sequence[str], key: str) -> str | None:
    """Return a pattern of the one number in which names differ; None if they differ in more, or repeat it."""
    parts = [re.split(r"(\d+)", name) for name in names]
    if len({tuple(part[::2]) for part in parts}) != 1:
        return None
    differs = [at for at in range(1, len(parts[0]), 2) if len({int(part[at]) for part in parts}) > 1]
    if len(differs) != 1 or len({int(part[differs[0]]) for part in parts}) != len(names):
        return None
    shown = [
        re.escape(text) if at % 2 == 0 else rf"(?P<{key}>\d+)" if at == differs[0] else r"\d+"
        for at, text in enumerate(parts[0])
    ]
    return f"^{''.join(shown)}$"


def _number(pattern: str, name: str) -> int:
    match = re.search(pattern, name)
    return 0 if match is None else int(match["rev"])
