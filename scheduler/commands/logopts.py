"""The options in which ``log add`` and ``log change`` tell of a log."""

from __future__ import annotations

from typing import Annotated

import typer

__all__ = [
    "ButtOption",
    "CutOption",
    "ExpectedOption",
    "FelledOption",
    "LengthOption",
    "MetalOption",
    "NeedsOption",
    "NoteOption",
    "PlaceOption",
    "PriceOption",
    "ReachOption",
    "SpeciesOption",
    "StateOption",
    "Text",
    "TopOption",
    "UseOption",
    "WorthOption",
]

Text = str | None
SpeciesOption = Annotated[Text, typer.Option("--species", metavar="WOOD", help='"don\'t know" will do.')]
ButtOption = Annotated[Text, typer.Option("--butt", metavar="SIZE", help="Across the butt: 22in, 56cm.")]
TopOption = Annotated[Text, typer.Option("--top", metavar="SIZE", help="Across the top.")]
LengthOption = Annotated[Text, typer.Option("--length", metavar="SIZE", help="8ft, 2.6m.")]
FelledOption = Annotated[
    Text, typer.Option("--felled", metavar="DATE", help="Roughly will do: about 20 Oct.")
]
CutOption = Annotated[
    Text, typer.Option("--cut", metavar="DATE", help="When the ends were cut: sat, today 9:30.")
]
ReachOption = Annotated[Text, typer.Option("--reach", metavar="ENDS", help="butt, top, both or none.")]
PriceOption = Annotated[Text, typer.Option("--price", metavar="SUM", help="By volume: 2400, or '8 per bf'.")]
WorthOption = Annotated[
    Text,
    typer.Option("--worth", metavar="WORTH", help="prized, good, plain, firewood, or a sum for the log."),
]
NeedsOption = Annotated[Text, typer.Option("--needs", metavar="SIZE", help="Finished length wanted from it.")]
UseOption = Annotated[Text, typer.Option("--use", metavar="WORDS", help="What it is for.")]
PlaceOption = Annotated[Text, typer.Option("--place", metavar="PLACE", help="A place of the yard file.")]
StateOption = Annotated[
    Text, typer.Option("--state", help="expected, standing, long (no open ends) or in_yard.")
]
ExpectedOption = Annotated[Text, typer.Option("--expected", metavar="DATE", help="When it comes.")]
MetalOption = Annotated[bool | None, typer.Option("--metal/--no-metal", help="Was metal seen in it?")]
NoteOption = Annotated[Text, typer.Option("--note", metavar="WORDS", help="Anything else.")]
