"""Files that a report definition names: logo, standing texts, layers under the map. All lie in or below its folder."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from gwnet.errors import DefinitionError
from gwnet.resources import reports_folder

#: Limits keep a wrong file from filling the memory; pictures and texts of a firm are far smaller.
_LOGO_BYTES: Final = 2_000_000
_LOGO_SIDE: Final = 4_000
_TEXT_BYTES: Final = 200_000
_LAYER_BYTES: Final = 200_000_000
_LAYER_ENDINGS: Final = (".gpkg", ".geojson", ".json")


def read_logo(definition: Path, name: str, inputs: dict[str, str]) -> bytes | None:
    """Return the firm's logo as a PNG without transparency.

    Parameters
    ----------
    definition : Path
        File that names it.
    name : str
        Path of a PNG or JPEG picture, relative to the definition; empty for none.
    inputs : dict of str to str
        Gets the digest of the file by its name.

    Returns
    -------
    bytes or None
        The picture, None for none.

    Raises
    ------
    DefinitionError
        If there is no such file, or it is no PNG or JPEG picture of a sensible size.
    """
    if not name:
        return None
    content = _read(definition, "logo", name, _LOGO_BYTES, inputs)
    from PIL import Image, UnidentifiedImageError

    fix = f"Give a PNG or JPEG picture of at most {_LOGO_SIDE} by {_LOGO_SIDE} pixels."
    try:
        # Two formats only: readers of rare ones are the larger part of what a crafted file could misuse.
        with Image.open(io.BytesIO(content), formats=["PNG", "JPEG"]) as picture:
            if max(picture.size) > _LOGO_SIDE:
                message = f"The logo {name!r} has {picture.size[0]} by {picture.size[1]} pixels."
                raise DefinitionError(message, where=str(definition), fix=fix)
            whole = picture.convert("RGBA")
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError) as error:
        message = f"The logo {name!r} is no picture that can be read."
        raise DefinitionError(message, where=str(definition), fix=fix) from error
    # Without transparency every viewer shows the logo alike, and the paper is white in any case.
    flat = Image.new("RGB", whole.size, "white")
    flat.paste(whole, mask=whole.getchannel("A"))
    target = io.BytesIO()
    flat.save(target, "PNG")
    return target.getvalue()


def read_wording(definition: Path, name: str, inputs: dict[str, str]) -> dict[str, str]:
    """Return the user's own standing texts.

    Parameters
    ----------
    definition : Path
        File that names their folder.
    name : str
        Folder of Markdown files named as those in ``reports/wording``, relative to the definition; empty for none.
    inputs : dict of str to str
        Gets the digest of each file by its name.

    Raises
    ------
    DefinitionError
        If there is no such folder, or it holds a text that no report asks for.
    """
    if not name:
        return {}
    folder = _inside(definition, "wording", name)
    if not folder.is_dir():
        message = f"The folder {name!r} of standing texts does not exist."
        raise DefinitionError(message, where=str(definition), fix="Copy reports/wording and change the texts.")
    known = {path.stem for path in (reports_folder() / "wording").glob("*.md")}
    texts: dict[str, str] = {}
    for path in sorted(folder.glob("*.md")):
        # A misspelt name would leave the usual text in the report unnoticed.
        if path.stem not in known:
            message = f"No report asks for a standing text {path.stem!r}."
            raise DefinitionError(message, where=str(path), fix=f"Known are {', '.join(sorted(known))}.")
        content = _read(definition, "wording", f"{name}/{path.name}", _TEXT_BYTES, inputs)
        try:
            texts[path.stem] = content.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            message = f"The text is not UTF-8: byte {error.start} cannot be read."
            raise DefinitionError(message, where=str(path), fix="Save it as UTF-8.") from error
    return texts


def find_layers(definition: Path, key: str, names: Sequence[str], inputs: dict[str, str]) -> tuple[Path, ...]:
    """Return the files of map layers, each of which must be there.

    Parameters
    ----------
    definition : Path
        File that names them.
    key : str
        Key under which they stand.
    names : sequence of str
        Paths of GeoPackage or GeoJSON files, relative to the definition; empty ones are passed over.
    inputs : dict of str to str
        Gets the digest of each file by its name.

    Raises
    ------
    DefinitionError
        If one is missing, lies elsewhere, or is of another kind.
    """
    found = []
    for name in names:
        if not name:
            continue
        if not name.lower().endswith(_LAYER_ENDINGS):
            message = f"The layer {name!r} of {key} is neither a GeoPackage nor GeoJSON."
            raise DefinitionError(
                message, where=str(definition), fix=f"Its name must end in {', '.join(_LAYER_ENDINGS)}."
            )
        _read(definition, key, name, _LAYER_BYTES, inputs)
        found.append(_inside(definition, key, name))
    return tuple(found)


def _inside(definition: Path, key: str, name: str) -> Path:
    """Return a path below the definition's folder; nothing beyond it is read."""
    folder = definition.resolve().parent
    # Links are followed before the check; one that leads out would pass otherwise.
    path = (folder / name).resolve()
    if "\0" in name or not path.is_relative_to(folder):
        message = f"The path {name!r} of {key} leads out of the folder of the definition."
        raise DefinitionError(message, where=str(definition), fix="Put the file beside the definition or below it.")
    return path


def _read(definition: Path, key: str, name: str, most_bytes: int, inputs: dict[str, str]) -> bytes:
    path = _inside(definition, key, name)
    try:
        size = path.stat().st_size
        if size > most_bytes:
            message = f"The file {name!r} of {key} has {size:,} bytes; at most {most_bytes:,} are taken."
            raise DefinitionError(message, where=str(definition))
        content = path.read_bytes()
    except OSError as error:
        message = f"The file {name!r} of {key} cannot be read: {error.strerror or error}."
        fix = "Its path is relative to the folder of the definition."
        raise DefinitionError(message, where=str(definition), fix=fix) from error
    # The manifest names them, so that a report can be made again from the same files.
    inputs[name] = hashlib.sha256(content).hexdigest()
    return content
