"""A scene without its hardscape, to compare with."""

from __future__ import annotations

from underlit.errors import StudyError
from underlit.scene.document import Document, Path


def without_hardscape(text: str) -> str:
    """The text of a scene without its hardscape, and without the plants that grow on it.

    Parameters
    ----------
    text : str
        Of a scene without faults.

    Returns
    -------
    str

    Raises
    ------
    StudyError
        Where hardscape, or plants on it, are written as one list and not table by table.
    """
    document = Document(text)
    for key in ("hardscape", "plant"):
        if document.span((key,)) is not None:
            raise StudyError(
                f"`{key}` is written as a list, which is not taken apart.", hint=f"Write each as `[[{key}]]`."
            )
    on_hardscape = {i for i, plant in enumerate(document.data.get("plant", ())) if "on" in plant}

    def goes(path: Path) -> bool:
        return path[0] == "hardscape" or (path[0] == "plant" and path[1] in on_hardscape)

    headers = sorted((place.key, path) for path, place in document.places.items() if place.header)
    ends = [*(start for start, _ in headers[1:]), len(text)]
    parts = [text[: headers[0][0]] if headers else text]
    parts += [text[start:end] for (start, path), end in zip(headers, ends, strict=True) if not goes(path)]
    return "".join(parts)
