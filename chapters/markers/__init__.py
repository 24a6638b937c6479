"""Chapter lists: the values, the shape that survives every container, one file a format."""

from chapters.markers.shape import limit_notes, safe_shape
from chapters.markers.textlist import chapters_text
from chapters.markers.values import Chapter
from chapters.markers.webvtt import chapters_vtt

__all__ = ["Chapter", "chapters_text", "chapters_vtt", "limit_notes", "safe_shape"]
