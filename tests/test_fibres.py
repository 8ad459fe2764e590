"""The fibre table against the handbook's numbers."""

import pytest

from weavecolor.errors import InputError
from weavecolor.textile.fibres import ALSO_CALLED, FIBRES, LABELS, fibre


@pytest.mark.parametrize(
    ("name", "index", "density"),
    # Densities: Morton and Hearle, Physical Properties of Textile Fibres, Table 5.1. Mean indices
    # (n_par + 2 n_perp) / 3 from their Table 24.1 (from memory).
    [("silk", 1.5557, 1.34), ("cotton", 1.5473, 1.52), ("polyester", 1.5997, 1.39)],
)
def test_index_and_density(name, index, density):
    assert fibre(name).index == pytest.approx(index, abs=5e-5)
    assert fibre(name).density_g_cm3 == density


def test_polyester_birefringence():
    # 0.188, printed in two teaching texts on fibre microscopy.
    assert fibre("polyester").n_parallel - fibre("polyester").n_perpendicular == pytest.approx(
        0.188, abs=1e-9
    )


def test_every_fibre_has_its_source():
    assert len(FIBRES) >= 10
    assert all(f.source for f in FIBRES.values())


def test_other_names_and_cases():
    assert fibre(" Linen ") is fibre("flax")
    assert fibre("SILK").name == "silk"


@pytest.mark.parametrize("name", ["silkk", "", None, 3])
def test_unknown_fibre_lists_the_known(name):
    with pytest.raises(InputError, match="not a known fibre; known: cotton, flax, .*silk"):
        fibre(name)


@pytest.mark.parametrize("name", ["metal", "Lurex", "aluminium wire", "metallised polyester"])
def test_metal_thread_is_said_not_to_be_modelled(name):
    with pytest.raises(InputError, match="known: cotton.*metallic.* not modelled: "):
        fibre(name)


def test_table_cannot_be_changed():
    with pytest.raises(TypeError):
        FIBRES["glass"] = fibre("silk")


@pytest.mark.parametrize(
    ("said", "meant"),
    [("PES", "polyester"), ("co", "cotton"), ("SE", "silk"), ("CV", "viscose"), ("PA", "nylon"),
     ("Cupro", "cupro"), ("CUP", "cupro"), ("Lyocell", "viscose"), ("WV", "wool")],
)  # fmt: skip
def test_fibres_as_labels_tell_them(said, meant):
    """Codes of ISO 2076 and DIN 60001-4, from memory."""
    assert fibre(said) is FIBRES[meant]


def test_every_other_name_leads_to_a_fibre_and_hides_none():
    for names in (ALSO_CALLED, LABELS):
        assert set(names.values()) <= set(FIBRES) and not set(names) & set(FIBRES)
    assert not set(ALSO_CALLED) & set(LABELS)
