"""The sentences that stand on the film, the pages and the sidecars in the same words everywhere."""

from __future__ import annotations

#: The cautions that everything published carries.
CAUTIONS: tuple[str, ...] = (
    "This film teaches. It is not a protocol.",
    "Follow the maker's instructions for use and your local rules.",
    "A licensed practitioner's own judgement decides in every case.",
)

#: What captions say first that a machine heard and nobody has read.
DRAFT_CAPTIONS = "Draft captions: heard by a machine, not yet read by anyone"

#: The first line of a text that a machine heard; a script may keep it, for it is a remark.
HEARD_TEXT = "# Heard by a machine. Correct it, then name a copy of this file as script:"

#: Mark on the cards and in every sidecar of a patient case that has no consent record.
NOT_FOR_PUBLICATION = "NOT FOR PUBLICATION: patient case without a consent record"
