"""Maps for files that none describes."""

from pipeline.ingest.propose.guess import ASKED, CHECK, LIKELY, SURE, Guess
from pipeline.ingest.propose.proposal import Proposal, pattern_of, propose

__all__ = ["ASKED", "CHECK", "LIKELY", "SURE", "Guess", "Proposal", "pattern_of", "propose"]
