"""What is written, and only on request: run files, tables, pictures; checked before a run, written whole or not at all."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, NamedTuple

import typer

from thermosim.errors import InputError

OutFlag = Annotated[
    Path | None,
    typer.Option(
        "--out",
        metavar="PATH",
        help="write the run: .nc, .csv, or a folder (no ending) with files and pictures",
        rich_help_panel="Output",
    ),
]
PictureFlag = Annotated[
    Path | None,
    typer.Option(
        "--picture",
        metavar="PATH",
        help="draw the page of this result, .png or .svg",
        rich_help_panel="Output",
    ),
]
CoursePictureFlag = Annotated[
    Path | None,
    typer.Option(
        "--course-picture", metavar="PATH", help="draw the result along its course, .png or .svg", rich_help_panel="Output"
    ),
]
ForceFlag = Annotated[
    bool, typer.Option("--force", metavar=" ", help="replace files that exist", rich_help_panel="Output")
]

PICTURE_ENDINGS, TABLE_ENDINGS = (".png", ".svg"), (".nc", ".csv")
# Names that a folder of results may hold; a folder with anything else is never replaced.
FOLDER_NAMES = {"run.nc", "run.csv", "recorded.csv", "ratings.csv", "course.csv", "course.png", "run.png", "ledger.png",
                "compare.nc", "compare.csv", "compare.json", "compare.png", "compare_course.png", "ledger.json"}  # fmt: skip
_UNIT_IN_NAME = {"1": "", "°C": "C", "%": "pct", "m/s": "m_s", "L/h": "L_h", "L/min": "L_min", "bpm": "bpm"}


class Target(NamedTuple):
    """One thing to write: where, and the function that writes it to a path."""

    path: Path
    write: Callable[[Path], Any]


def needs_course(session, course_picture: Path | None) -> None:
    """Refuse a picture along the course of a session that has none.

    Raises
    ------
    InputError
        The session is not over a course.
    """
    if course_picture is not None and session.effort.ground is None:
        raise InputError("is asked for, but the run is not over a course", field=f"--course-picture {course_picture}",
                         remedy="add --course FILE, or course = in the session")  # fmt: skip


def check_targets(out: Path | None, pictures: list[Path | None], force: bool, endings=TABLE_ENDINGS) -> None:
    """Refuse, before anything runs, an ending that cannot be, a file that exists, a folder that does not."""
    wanted = []
    if out is not None:
        if out.suffix.lower() not in (*endings, ""):
            problem = f"ends in {out.suffix}, allowed are {', '.join(endings)} or a folder (no ending)"
            raise InputError(problem, field=f"--out {out}", remedy="choose one of these endings")
        wanted.append(out)
    for picture in pictures:
        if picture is not None:
            if picture.suffix.lower() not in PICTURE_ENDINGS:
                problem = f"ends in {picture.suffix or 'nothing'}, allowed are .png and .svg"
                raise InputError(problem, field=f"--picture {picture}", remedy="choose one of these endings")
            wanted.append(picture)
    for k, path in enumerate(wanted):
        if path.resolve() in [other.resolve() for other in wanted[:k]]:
            raise InputError("is named twice", file=str(path), remedy="give each file its own name")
        _check_place(path, force)


def _check_place(path: Path, force: bool) -> None:
    if path.exists() and not force:
        raise InputError("exists already", file=str(path), remedy="choose another name or add --force")
    if path.is_dir():
        if path.suffix.lower() in (*PICTURE_ENDINGS, *TABLE_ENDINGS):
            raise InputError("is a folder", file=str(path), remedy="choose another name")
        check_replaceable(path, FOLDER_NAMES)
    elif path.exists() and path.suffix == "":
        raise InputError("is a file, not a folder", file=str(path), remedy="choose another name")
    if not path.absolute().parent.is_dir():
        raise InputError(
            "cannot be written: its folder does not exist", file=str(path), remedy="make the folder first"
        )


def check_replaceable(folder: Path, names: set[str]) -> None:
    """Refuse to replace a folder that holds anything thermosim did not write."""
    others = sorted(entry.name for entry in folder.iterdir() if entry.name not in names or entry.is_dir())
    if others:
        raise InputError(f"holds what thermosim did not write there ({others[0]})", file=str(folder),
                         remedy="choose another folder, --force replaces only folders of results")  # fmt: skip


def write_all(targets: list[Target], force: bool) -> list[Path]:
    """Write every target, each under a temporary name and then renamed; return the paths."""
    from thermosim.inputs.files import write_atomically

    return [write_atomically(Path(str(target.path)), target.write, force) for target in targets]


def dataset_targets(
    ds, out: Path | None, name: str, pages: dict[str, Callable], extras: dict[str, Callable] | None = None
) -> list[Target]:
    """Return what ``--out`` asks for: one NetCDF, one table, or a folder with both, its pages and extras."""
    if out is None:
        return []
    if out.suffix.lower() == ".nc":
        return [Target(out, lambda path: to_netcdf(ds, path))]
    if out.suffix.lower() == ".csv":
        return [Target(out, lambda path: to_table(ds).to_csv(path))]

    def folder(path: Path) -> None:
        path.mkdir()
        to_netcdf(ds, path / f"{name}.nc")
        to_table(ds).to_csv(path / f"{name}.csv")
        for extra, write in (extras or {}).items():
            write(path / extra)
        for picture, page in pages.items():
            draw(page, path / picture)

    return [Target(out, folder)]


def draw(page: Callable, path: Path) -> None:
    """Draw a page and save it; the figure is closed again."""
    from matplotlib import pyplot

    from thermosim import look

    figure = page()
    look.save(figure, path)
    pyplot.close(figure)


def to_netcdf(ds, path: Path) -> None:
    """Write a Dataset as NetCDF 4."""
    ds.to_netcdf(path, engine="h5netcdf")


def to_table(ds):
    """Return the variables over time as one table, units in the column names; samples recorded between are kept.

    Further dimensions become part of the name, e.g. ``skin_temperature_neck_C``. Members of an ensemble become
    their median and 90 % interval.
    """
    import pandas as pd

    ds = _quantiles(ds) if "member" in ds.dims else ds
    columns = {}
    for name, variable in ds.data_vars.items():
        if "time" not in variable.dims:
            continue
        others = [dim for dim in variable.dims if dim != "time"]
        flat = variable.stack(column=others) if others else variable
        for k in range(flat.sizes["column"] if others else 1):
            part = flat.isel(column=k) if others else flat
            words = [str(part[dim].values) for dim in others] if others else []
            columns[column_name(name, words, variable.attrs.get("units", "1"))] = part.values
    table = pd.DataFrame(columns, index=pd.Index(ds["time"].values, name="time_s"))
    if "heart_rate_recorded" in ds:
        return table.join(recorded_table(ds), how="outer")
    return table


def recorded_table(ds):
    """Return the recorded heart rate as it came."""
    import pandas as pd

    index = pd.Index(ds["recorded_time"].values, name="time_s")
    return pd.DataFrame({"heart_rate_recorded_bpm": ds["heart_rate_recorded"].values}, index=index)


def ratings_table(ds):
    """Return the recorded ratings as they came."""
    import pandas as pd

    index = pd.Index(ds["rating_time"].values / 60.0, name="time_min")
    kinds = [kind for kind in ("effort", "thermal_sensation") if f"{kind}_recorded" in ds]
    return pd.DataFrame({kind: ds[f"{kind}_recorded"].values for kind in kinds}, index=index)


def column_name(name: str, words: list[str], unit: str) -> str:
    """Return the name of a table's column: quantity, what it is of, unit."""
    suffix = _UNIT_IN_NAME.get(unit, unit.replace("/", "_").replace("·", "_"))
    return "_".join(part.replace(" ", "_") for part in (name, *words, suffix) if part)


def _quantiles(ds):
    import xarray as xr

    shares = {"low": 0.05, "median": 0.5, "high": 0.95}
    numbers = ds[[name for name, variable in ds.data_vars.items() if "time" in variable.dims]]
    with_members = numbers[
        [name for name, variable in numbers.data_vars.items() if "member" in variable.dims]
    ]
    found = with_members.quantile(list(shares.values()), dim="member", keep_attrs=True)
    found = found.rename(quantile="interval").assign_coords(interval=list(shares))
    rest = numbers.drop_vars(list(with_members.data_vars))
    return xr.merge([found, rest.drop_vars("member", errors="ignore")], combine_attrs="override")
