"""Notes and spoken words as captions that can be read, and the files that hold them."""

from annotate.captions.cues import Complaint, Cue, NoteTooLong, TimedWord, check_cues
from annotate.captions.files import cues_to_srt, cues_to_vtt
from annotate.captions.notes import notes_to_cues
from annotate.captions.profiles import NOTES, PROFILES, Profile
from annotate.captions.spoken import words_to_cues
from annotate.captions.sync import check_sync
from annotate.captions.terms import fix_terms, fix_timed, terms_of

__all__ = [
    "NOTES",
    "PROFILES",
    "Complaint",
    "Cue",
    "NoteTooLong",
    "Profile",
    "TimedWord",
    "check_cues",
    "check_sync",
    "cues_to_srt",
    "cues_to_vtt",
    "fix_terms",
    "fix_timed",
    "notes_to_cues",
    "terms_of",
    "words_to_cues",
]
