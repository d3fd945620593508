"""``log change``: other values for what was told of a log."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any

import typer

from scheduler.commands.book import answer, by_of, cm_of, opened, places_of, remembering, voice_of
from scheduler.commands.common import AtOption, Fail, JsonOption, Session, YardOption, session
from scheduler.commands.logopts import (
    ButtOption,
    CutOption,
    ExpectedOption,
    FelledOption,
    LengthOption,
    MetalOption,
    NeedsOption,
    NoteOption,
    PlaceOption,
    PriceOption,
    ReachOption,
    SpeciesOption,
    StateOption,
    Text,
    TopOption,
    UseOption,
    WorthOption,
)
from scheduler.commands.told import Wood, fields_of, names_of, wood_of

if TYPE_CHECKING:
    from scheduler.yard.book import Written
    from scheduler.yard.entries import Entry
    from scheduler.yard.facts import Register

__all__ = ["change", "changing"]


def change(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The log.")],
    new_tag: Annotated[Text, typer.Option("--tag", metavar="TAG", help="Another tag for it.")] = None,
    species: SpeciesOption = None,
    butt: ButtOption = None,
    top: TopOption = None,
    length: LengthOption = None,
    felled: FelledOption = None,
    cut: CutOption = None,
    reach: ReachOption = None,
    price: PriceOption = None,
    worth: WorthOption = None,
    needs: NeedsOption = None,
    use: UseOption = None,
    place: PlaceOption = None,
    state: StateOption = None,
    expected: ExpectedOption = None,
    count: Annotated[Text, typer.Option("--count", metavar="N", help="Pieces in the pack.")] = None,
    thick: Annotated[Text, typer.Option("--thick", metavar="SIZE", help="Thickness of the pieces.")] = None,
    across: Annotated[
        list[str] | None,
        typer.Option("--across", metavar="END=SIZE", help="Diameter of any end; may be repeated."),
    ] = None,
    metal: MetalOption = None,
    skip: Annotated[bool | None, typer.Option("--skip/--no-skip", help="No more about sealing it.")] = None,
    left_long: Annotated[
        bool | None, typer.Option("--left-long/--not-left-long", help="Left as it is.")
    ] = None,
    saw_first: Annotated[
        bool | None, typer.Option("--saw-first/--not-saw-first", help="Saw, don't coat.")
    ] = None,
    roofed: Annotated[bool | None, typer.Option("--roofed/--not-roofed", help="Under a sheet.")] = None,
    note: NoteOption = None,
    yard: YardOption = None,
    at: AtOption = None,
    as_json: JsonOption = False,
) -> None:
    """Mend what was told of a log; ? means not known. What happened to it is mended with note TAG correct."""
    from scheduler.yard.state import fold

    here = session(yard, at)
    told = {
        "butt": butt, "top": top, "length": length, "felled": felled, "cut": cut, "price": price,
        "worth": worth, "needs": needs, "use": use, "place": place, "state": state,
        "expected": expected, "count": count, "thick": thick, "note": note,
    }  # fmt: skip
    fields = fields_of(here, told)
    flags = {"metal": metal, "skip": skip, "left_long": left_long, "saw_first": saw_first, "roofed": roofed}
    fields |= {name: value for name, value in flags.items() if value is not None}
    if new_tag is not None:
        fields["tag"] = new_tag.strip()
    if reach is not None:
        fields["reach"] = frozenset("both" if name == "all" else name for name in names_of(reach))
    if across:
        fields["diameters"] = dict(_across(here, one) for one in across)
    with opened(here) as store:
        wood = None
        if species is not None:
            wood = wood_of(here, species, fold(store.entries(here.yard.yard.key), here.at).words)
            fields |= wood.fields
        written = store.record(here.yard.yard.key, here.at, changing(here, tag, fields, wood))
    answer(here, written, as_json)


def _across(here: Session, text: str) -> tuple[str, float]:
    name, sign, size = text.partition("=")
    if not sign:
        raise Fail(f"--across {text}: write it as END=SIZE, such as --across left=38cm")
    return name.strip(), cm_of(here, size.strip(), f"--across {text}")


def changing(
    here: Session, tag: str, fields: dict[str, Any], wood: Wood | None
) -> Callable[[Register, tuple[Entry, ...]], Written]:
    """What writes the changed fields of a log, and a new word for its wood."""
    from scheduler.yard.book import change as changed

    if not fields:
        raise Fail(
            f"What is to change of {tag}? Give options, such as: coatcast log change {tag} --length 2.4m"
        )
    by, voice, places = by_of(here), voice_of(here), places_of(here)

    def act(register: Register, entries: tuple[Entry, ...]) -> Written:
        return remembering(
            here,
            wood.word if wood is not None else None,
            register,
            entries,
            lambda known: changed(tag, fields, known, entries, by, voice=voice, places=places),
        )

    return act
