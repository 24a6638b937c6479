"""From a BCP 47 tag to the three-letter code that an MP4 track carries (ISO 639-2, terminology form)."""

from __future__ import annotations

_THREE = dict(
    pair.split(":")
    for pair in [
        "ar:ara",
        "bg:bul",
        "bn:ben",
        "bs:bos",
        "ca:cat",
        "cs:ces",
        "cy:cym",
        "da:dan",
        "de:deu",
        "el:ell",
        "en:eng",
        "es:spa",
        "et:est",
        "eu:eus",
        "fa:fas",
        "fi:fin",
        "fr:fra",
        "ga:gle",
        "gl:glg",
        "gu:guj",
        "he:heb",
        "hi:hin",
        "hr:hrv",
        "hu:hun",
        "hy:hye",
        "id:ind",
        "is:isl",
        "it:ita",
        "ja:jpn",
        "ka:kat",
        "kk:kaz",
        "km:khm",
        "kn:kan",
        "ko:kor",
        "lt:lit",
        "lv:lav",
        "mk:mkd",
        "ml:mal",
        "mr:mar",
        "ms:msa",
        "mt:mlt",
        "my:mya",
        "nb:nob",
        "ne:nep",
        "nl:nld",
        "nn:nno",
        "no:nor",
        "pa:pan",
        "pl:pol",
        "pt:por",
        "ro:ron",
        "ru:rus",
        "si:sin",
        "sk:slk",
        "sl:slv",
        "sq:sqi",
        "sr:srp",
        "sv:swe",
        "sw:swa",
        "ta:tam",
        "te:tel",
        "th:tha",
        "tl:tgl",
        "tr:tur",
        "uk:ukr",
        "ur:urd",
        "uz:uzb",
        "vi:vie",
        "zh:zho",
    ]
)


def three_letters(tag: str) -> str:
    """``eng`` for ``en-GB``; a three-letter tag stays, ``und`` stands for what is not known here."""
    primary = tag.split("-", maxsplit=1)[0].lower()
    if len(primary) == 3:
        return primary
    return _THREE.get(primary, "und")
