"""From a scene file to a `Scene`, or to all its faults at once."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

from pydantic import ValidationError

from underlit.errors import Fault, SceneError
from underlit.scene import check, defaults
from underlit.scene.document import LONGEST_TEXT, Document
from underlit.scene.faults import MOST_FAULTS, Slip, faults_of, slips_of
from underlit.scene.model import Scene
from underlit.scene.repair import stand_in, touched


def load_scene(path: str | os.PathLike[str]) -> Scene:
    """Read and check a scene file.

    Parameters
    ----------
    path : str or path
        A scene file, or a folder that holds `scene.toml`.

    Returns
    -------
    Scene

    Raises
    ------
    SceneError
        All faults of the file together.
    """
    file = Path(path)
    if file.is_dir():
        file = file / "scene.toml"
    return _scene(_read(file), file.name, file.parent, file)


def from_text(text: str, folder: str | os.PathLike[str] | None = None, name: str = "scene") -> Scene:
    """Read and check the text of a scene.

    Parameters
    ----------
    text : str
        TOML.
    folder : str or path, optional
        Where the files named in the scene are. Without it they are not looked for.
    name : str
        What to call the text in faults.

    Returns
    -------
    Scene

    Raises
    ------
    SceneError
        All faults of the text together.
    """
    return _scene(text, name, None if folder is None else Path(folder), None)


def _read(file: Path) -> str:
    """Text of a scene file."""
    try:
        size = file.stat().st_size
        if size > 4 * LONGEST_TEXT:
            what = f"the file has {size:,} bytes; no scene is that long (at most {4 * LONGEST_TEXT:,})."
            raise SceneError([Fault(str(file), what, "Is this the file that you meant?")])
        return file.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except FileNotFoundError:
        raise SceneError([Fault(str(file), "there is no such file.", _other_scenes(file))]) from None
    except UnicodeDecodeError as error:
        what = f"the file is not UTF-8 text (byte {error.start:,})."
        raise SceneError(
            [Fault(str(file), what, "Save it as UTF-8, or check that it is a scene file.")]
        ) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise SceneError([Fault(str(file), f"the file cannot be read: {reason}.")]) from None


def _other_scenes(file: Path) -> str:
    """What else could have been meant."""
    try:
        names = sorted(one.name for one in file.parent.glob("*.toml"))[:5]
    except OSError:
        names = []
    if names:
        return f"In {file.parent} there is: {', '.join(names)}."
    return "Write one with `underlit new`."


def _scene(text: str, name: str, folder: Path | None, path: Path | None) -> Scene:
    document = Document(text, name)
    try:
        scene = Scene.model_validate(document.data)
    except ValidationError as error:
        raise _all_faults(slips_of(error, document), document, folder) from None
    scene._path, scene._folder, scene._name, scene._text = path, folder, name, text
    defaults.fill(scene)
    found = check.faults(scene, document)
    if found:
        raise _error([(one.line, one.fault) for one in found], document)
    return scene


def _all_faults(slips: list[Slip], document: Document, folder: Path | None) -> SceneError:
    """Faults of single values, and those between the parts of the scene that these leave alone."""
    found = faults_of(slips, document, Scene)
    data = stand_in(slips, document, Scene)
    if data is not None:
        with suppress(ValidationError):
            scene = Scene.model_validate(data)
            scene._folder = folder
            defaults.fill(scene)
            between = check.faults(scene, document)
            found += [(one.line, one.fault) for one in between if not touched(one.path, slips)]
    return _error(found, document, unseen=len(slips) - MOST_FAULTS)


def _error(found: list[tuple[int, Fault]], document: Document, unseen: int = 0) -> SceneError:
    faults = [fault for _, fault in sorted(found, key=lambda entry: entry[0])]
    if unseen > 0:
        faults.append(Fault(document.name, f"and {unseen} more faults.", "Mend those above first."))
    return SceneError(faults)
