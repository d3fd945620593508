"""Which wood a word means, and the table of woods itself."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduler.settings import species_table
from scheduler.wood.species import Ambiguous, Known, Unknown, careful, explain, find, show_name

TABLE = species_table()
GROUPS = {"white woods", "fruit woods", "coloured heartwood", "ring-porous", "conifers", "careful hardwood"}
DEMO = {  # names of a mixed yard -> botanical names
    "wild cherry": "Prunus avium",
    "European walnut": "Juglans regia",
    "common pear": "Pyrus communis",
    "common hornbeam": "Carpinus betulus",
    "European beech": "Fagus sylvatica",
    "sycamore maple": "Acer pseudoplatanus",
    "wych elm": "Ulmus glabra",
    "small-leaved lime": "Tilia cordata",
    "field maple": "Acer campestre",
    "plum": "Prunus domestica",
    "silver birch": "Betula pendula",
    "European larch": "Larix decidua",
    "black locust": "Robinia pseudoacacia",
    "sweet chestnut": "Castanea sativa",
    "macrocarpa": "Hesperocyparis macrocarpa",
    "blackwood": "Acacia melanoxylon",
    "E. nitens": "Eucalyptus nitens",
    "zelkova": "Zelkova serrata",
    "mountain cherry": "Prunus jamasakura",
    "horse chestnut": "Aesculus hippocastanum",
    "Japanese larch": "Larix kaempferi",
}


def known(word: str) -> str:
    found = find(word, {}, TABLE)
    assert isinstance(found, Known), found
    return found.species.botanical


@pytest.mark.parametrize(("word", "botanical"), DEMO.items())
def test_a_plain_name_of_two_continents_finds_its_wood_and_assumes_nothing(word: str, botanical: str) -> None:
    found = find(word, {}, TABLE)
    assert isinstance(found, Known)
    assert found.species.botanical == botanical
    assert found.assumed is None
    assert known(botanical) == botanical


@pytest.mark.parametrize(
    "word",
    [
        "sycamore",
        "plane",
        "chestnut",
        "cedar",
        "poplar",
        "locust",
        "acacia",
        "mountain ash",
        "Kastanie",
        "gum",
    ],
)
def test_a_name_of_two_different_woods_is_never_resolved_silently(word: str) -> None:
    found = find(word, {}, TABLE)
    assert isinstance(found, Ambiguous)
    assert len({(s.botanical.split()[0], s.group) for s in found.candidates}) > 1
    question = explain(found)
    assert question is not None
    assert all(s.botanical in question for s in found.candidates)


def test_sycamore_asks_between_the_maple_and_the_american_tree() -> None:
    found = find("sycamore", {}, TABLE)
    assert isinstance(found, Ambiguous)
    assert {s.botanical for s in found.candidates} == {"Acer pseudoplatanus", "Platanus occidentalis"}


@pytest.mark.parametrize("word", ["walnut", "cherry", "oak", "maple", "ash", "elm", "birch", "beech"])
def test_a_plain_genus_word_takes_the_usual_wood_and_says_so(word: str) -> None:
    found = find(word, {}, TABLE)
    assert isinstance(found, Known)
    assert found.assumed is not None
    assert found.species.botanical in found.assumed


def test_a_genus_in_latin_takes_the_first_of_it() -> None:
    assert known("Quercus") == "Quercus robur"
    assert known("quercus rubra") == "Quercus rubra"


@pytest.mark.parametrize(
    ("word", "botanical"),
    [
        ("Walnuts", "Juglans regia"),
        ("CHERRIES", "Prunus avium"),
        ("wild cherry logs", "Prunus avium"),
        ("a walnut tree", "Juglans regia"),
        ("pearwood", "Pyrus communis"),
        ("Horse-Chestnut", "Aesculus hippocastanum"),
        ("hetre", "Fagus sylvatica"),
        ("hêtre", "Fagus sylvatica"),
        ("Lärche", "Larix decidua"),
        ("larche", "Larix decidua"),
        ("Laerche", "Larix decidua"),
        ("Weissbuche", "Carpinus betulus"),
        ("nogal", "Juglans regia"),
        ("Platanus hispanica", "Platanus × hispanica"),
        ("Cupressus macrocarpa", "Hesperocyparis macrocarpa"),
    ],
)
def test_case_accents_plurals_and_languages_are_tolerated(word: str, botanical: str) -> None:
    assert known(word) == botanical


@pytest.mark.parametrize(
    "word",
    [
        "don't know",
        "don’t know",
        "dont know",
        "dunno",
        "?",
        "Hardwood",
        "fruit wood",
        "unknown",
        "weiß nicht",
    ],
)
def test_not_knowing_takes_the_careful_row_and_says_so(word: str) -> None:
    found = find(word, {}, TABLE)
    assert isinstance(found, Known)
    assert found.species == careful(TABLE)
    assert found.assumed == "wood unknown: treated as one that cracks early"


def test_the_yards_own_word_wins_over_the_table() -> None:
    found = find("Sycamores", {"sycamore": "Platanus occidentalis"}, TABLE)
    assert isinstance(found, Known)
    assert found.species.botanical == "Platanus occidentalis"
    assert found.assumed is None


def test_an_own_word_that_points_nowhere_is_passed_over() -> None:
    assert isinstance(find("sycamore", {"sycamore": "Nullus nullus"}, TABLE), Ambiguous)


def test_a_misspelt_wood_names_the_nearest() -> None:
    found = find("wallnut", {}, TABLE)
    assert isinstance(found, Unknown)
    assert "walnut" in found.nearest
    sentence = explain(found)
    assert sentence is not None
    assert "walnut" in sentence


@given(st.text(max_size=30))
def test_random_text_never_breaks_the_search(word: str) -> None:
    assert isinstance(find(word, {word: "Juglans nigra"}, TABLE), Known | Ambiguous | Unknown)


# ---------------------------------------------------------------- the table


def test_there_are_woods_of_both_continents_and_every_row_names_its_source() -> None:
    assert len(TABLE) >= 45
    for row in TABLE.values():
        assert row.group in GROUPS
        assert "memory" in row.source or "Wood Handbook" in row.source or row.botanical == "?"
        assert {"en", "de", "fr"} <= row.names.keys()


def test_the_name_shown_belongs_to_one_wood_only() -> None:
    for row in TABLE.values():
        found = find(show_name(row), {}, TABLE)
        assert isinstance(found, Known), (row.botanical, found)
        assert found.species == row
        if row.botanical != "?":
            assert found.assumed is None


def test_no_wood_is_greener_than_its_cells_can_hold() -> None:
    # Wood Handbook eq. 4-3: the most water, with the cell walls at 1.54 g/cm3.
    for row in TABLE.values():
        density = row.basic_density / 1000
        most = (1.54 - density) / (1.54 * density)
        assert 0.3 < row.green_moisture < most, row.botanical
        assert 250 < row.basic_density < 900


@pytest.mark.parametrize(
    ("botanical", "heart", "sap"),
    # Wood Handbook table 4-1, percent in heartwood and sapwood
    [
        ("Fraxinus americana", 46, 44),
        ("Tilia americana", 81, 133),
        ("Fagus grandifolia", 55, 72),
        ("Betula alleghaniensis", 74, 72),
        ("Acer saccharum", 65, 72),
        ("Quercus rubra", 80, 69),
        ("Quercus alba", 64, 78),
        ("Liriodendron tulipifera", 83, 106),
        ("Malus domestica", 81, 74),
        ("Pseudotsuga menziesii", 37, 115),
        ("Taxodium distichum", 121, 171),
    ],
)
def test_green_moisture_is_the_tables_weighed_by_heart_and_sap(botanical: str, heart: int, sap: int) -> None:
    assert TABLE[botanical].green_moisture == pytest.approx(0.006 * heart + 0.004 * sap, abs=0.0051)


def test_light_woods_are_not_called_prone_and_the_saw_comes_first_for_white_maple() -> None:
    # common practice, no source
    assert TABLE["Tilia cordata"].proneness == "low"
    assert TABLE["Prunus domestica"].proneness == "high"
    assert TABLE["Acer pseudoplatanus"].saw_first
    assert not TABLE["Juglans regia"].saw_first
    assert careful(TABLE).proneness == "high"
