"""From a file and flags to one session: a session file, a saved run, or flags alone; a flag replaces a field."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from thermosim.cli.fields import number_or_text
from thermosim.errors import InputError

HDF5_MARK = b"\x89HDF"


class Asked(NamedTuple):
    """What a command is to run."""

    session: Any
    variant: str | None
    two_node: bool = False
    save_every_s: float | None = None
    overrides: dict[str, float] | None = None
    own_devices: tuple[str, ...] = ()  # worn in a saved run, made by the user's own code


def gather(path: Path | None, fields: dict, variant: str | None = None) -> Asked:
    """Return the session behind a file, flags or both, and what a saved run says about how it was run."""
    from thermosim.inputs.session import Session

    if path is None:
        if not fields:
            raise InputError(
                "is missing",
                field="session",
                remedy="name a session file, or describe the run by flags (see --help)",
            )
        return Asked(Session.from_fields(fields), variant)
    if is_saved_run(path):
        attributes = read_run(path).attrs
        if "inputs" not in attributes:
            raise InputError(
                "holds no inputs of a thermosim run",
                file=str(path),
                remedy="use a file that simulate --out wrote",
            )
        asked = _as_it_was_run(attributes, variant)
    else:
        from thermosim.cooling.cards import build

        asked = Asked(Session.read(path, build), variant)
    asked = asked._replace(session=asked.session.with_overrides(fields)) if fields else asked
    if not is_saved_run(path):
        from thermosim.inputs.wear import check_worn
        from thermosim.story import dress

        check_worn(path, asked.session, dress, fitted=(variant or asked.session.variants[0].name,))
    return asked


def _as_it_was_run(attributes: dict, variant: str | None) -> Asked:
    """Return the request that a saved run's attributes stand for."""
    from thermosim.inputs.session import Session

    step = attributes.get("save_every_s")
    return Asked(
        Session.from_json(attributes["inputs"]),
        variant or attributes.get("variant"),
        bool(attributes.get("two_node", 0)),
        None if step is None else float(step),
        json.loads(attributes.get("overrides", "{}")),
        tuple(json.loads(attributes.get("own_devices", "[]"))),
    )


def is_saved_run(path: Path) -> bool:
    """Return whether a file is a saved run, told by its content."""
    try:
        with open(path, "rb") as stream:
            return stream.read(4) == HDF5_MARK
    except OSError:
        return False  # the reader says what is wrong with it


def read_run(path: Path):
    """Return the Dataset of a saved run; any other file is refused in one sentence."""
    import xarray as xr

    from thermosim.inputs.files import read_bytes

    read_bytes(path)
    remedy = "use a file that simulate --out wrote"
    if not is_saved_run(path):
        raise InputError("is not a saved run (NetCDF 4)", file=str(path), remedy=remedy)
    try:
        with xr.open_dataset(path, engine="h5netcdf", decode_times=False) as ds:
            return ds.load()
    except Exception:
        raise InputError(
            "is damaged: it cannot be read as a saved run", file=str(path), remedy=remedy
        ) from None


def parse_cooling(text: str) -> dict[str, Any]:
    """Return the device table of one ``--cooling`` flag, such as ``ice_collar:ice_kg=0.25,covered=true``.

    Several values of one field are parted by ``+``: ``refill_min=20+40``. The name of a device card may stand in the
    place of the device: ``own-collar.device.toml:ice_kg=0.3``.
    """
    from thermosim.cooling.cards import build
    from thermosim.cooling.schedule import worn_by
    from thermosim.inputs.device_cards import expand_device
    from thermosim.inputs.limits import check_device

    name, rest = _device_and_rest(text)
    spec: dict[str, Any] = {"device": name.strip()}
    for item in filter(None, (one.strip() for one in rest.split(","))):
        field, equals, value = item.partition("=")
        if not equals or not field.strip() or not value.strip():
            raise InputError(f"has {item!r}, allowed is field=value", field="--cooling",
                             remedy="write e.g. --cooling ice_collar:ice_kg=0.25,covered=true")  # fmt: skip
        if field.strip() in spec:
            raise InputError(f"has {field.strip()} twice", field="--cooling", remedy="keep one of them")
        spec[field.strip()] = _cooling_value(field.strip(), value.strip())
    spec = check_device(expand_device(spec, Path(), build))
    worn_by(spec, None)
    return spec


def _device_and_rest(text: str) -> tuple[str, str]:
    """Split a device from its fields at the first colon, or behind the name of a card, whose path may hold colons.

    >>> _device_and_rest("ice_collar:ice_kg=0.3")
    ('ice_collar', 'ice_kg=0.3')
    >>> _device_and_rest("c:/own.device.toml:ice_kg=0.3")
    ('c:/own.device.toml', 'ice_kg=0.3')
    """
    before, ending, after = text.partition(".device.toml")
    if ending and (not after or after.startswith(":")):
        return before + ending, after[1:]
    name, _, rest = text.partition(":")
    return name, rest


def _cooling_value(field: str, text: str) -> Any:
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    if field in ("refill_min", "refill_km"):
        return [number_or_text(one) for one in text.split("+")]
    if field == "segments":
        return text.split("+")
    return number_or_text(text)


def wearing(asked: Asked, cooling: list[str]) -> Asked:
    """Return the request with its variant's cooling replaced by what the flags say is worn."""
    if not cooling:
        return asked
    from thermosim.inputs.limits import Variant
    from thermosim.story import variant_of

    base = variant_of(asked.session, asked.variant)
    worn = Variant(
        name=base.name if base.cooling else "cooled", cooling=tuple(parse_cooling(text) for text in cooling)
    )
    session = replace(asked.session, variants=(worn,))
    return asked._replace(session=session, variant=worn.name, own_devices=())


def with_variants(session, cooling: list[str]):
    """Return the session with one more variant for each ``--cooling``, named after its device and fields."""
    if not cooling:
        return session
    from thermosim.inputs.limits import Variant

    added = tuple(Variant(name=text[:40], cooling=(parse_cooling(text),)) for text in cooling)
    return replace(session, variants=session.variants + added)


def no_default_limit(session) -> bool:
    """Return whether the runner is outside the adult model and nobody has set a limit for them."""
    return outside_adult_model(session.runner) and session.limits.core_temperature_C is None


def outside_adult_model(runner) -> bool:
    """Return whether a runner is under 18 or pregnant."""
    return runner.outside_adult_model
