"""The particle table model: Qt's own checks, sorting, filtering and what cells say."""

import numpy as np
import pytest
from PySide6.QtCore import QItemSelectionModel, Qt

from app.models.field_pieces import FieldPieces
from app.models.particle_table import COLUMNS, ParticleTableModel, RowFilter
from measure.model import Frame, Scale
from measure.particles import make_particles
from measure.sizes.particle_table import TABLE_COLUMNS, particle_table

KIND, SIZE, DOUBT, REASON = 1, 2, 3, 4


@pytest.fixture
def pieces():
    made = FieldPieces()
    made.particles = make_particles(
        [np.zeros((3, 2))] * 5,
        label=[1, 2, 3, 4, 9],
        area_px2=np.pi / 4 * np.array([10.0, 30.0, 20.0, 4.0, 25.0]) ** 2,
        feret_h_px=10,
        feret_v_px=10,
        kind=[0, 1, 2, 0, 3],
        doubt=[0.1, 0.9, 0.5, 0.2, 0.5],
        set_aside=["", "", "", "", "fibre"],
    )
    made.table = particle_table(
        made.particles, frame=Frame(1000, 1000), scale=Scale(0.5), smallest_um=3.0, batch="b", field="f"
    )
    made.field_id = 1
    made._row_of = {1: 0, 2: 1, 3: 2, 4: 3, 9: 4}
    return made


@pytest.fixture
def model(pieces, qtmodeltester):
    made = ParticleTableModel(pieces)
    made.refresh()
    qtmodeltester.check(made)
    return made


def labels(model):
    return [model.label_of(row) for row in range(model.rowCount())]


def test_most_doubtful_first_and_equal_ones_by_number(model):
    assert labels(model) == [2, 3, 9, 4, 1]


def test_sorting_by_number_and_by_word(model):
    model.sort(SIZE, Qt.SortOrder.AscendingOrder)
    assert labels(model) == [4, 1, 3, 9, 2]
    model.sort(KIND, Qt.SortOrder.AscendingOrder)
    assert labels(model) == [1, 4, 9, 3, 2]  # kernel, other, salt, skin


def test_what_is_selected_stays_selected_when_sorted(model):
    selection = QItemSelectionModel(model)
    selection.select(model.index(0, 0), QItemSelectionModel.SelectionFlag.Select)
    model.sort(SIZE, Qt.SortOrder.AscendingOrder)
    assert [model.label_of(i.row()) for i in selection.selectedIndexes()] == [2]


@pytest.mark.parametrize(
    ("chosen", "expected"),
    [
        (RowFilter(kind="kernel"), {1, 4}),
        (RowFilter(counted=True), {1, 2, 3}),
        (RowFilter(counted=False), {4, 9}),
        (RowFilter(doubt_from=0.5), {2, 3, 9}),
        (RowFilter(kind="skin", doubt_from=0.95), set()),
        (RowFilter(labels=frozenset({9, 1})), {1, 9}),
    ],
)
def test_filters(model, chosen, expected):
    model.set_filter(chosen)
    assert set(labels(model)) == expected


def test_cells_say_size_in_um_and_why_a_piece_is_not_counted(model):
    model.sort(SIZE, Qt.SortOrder.DescendingOrder)
    texts = [[model.index(r, c).data() for c in (KIND, SIZE, DOUBT, REASON)] for r in range(5)]
    assert texts[0] == ["skin", "15.0", "0.90", ""]
    assert texts[1][-1] == "fibre"
    assert texts[-1] == ["kernel", "2.00", "0.20", "below the lower limit"]


def test_every_column_has_a_heading_plain_words_and_a_place_in_the_table():
    model = ParticleTableModel(FieldPieces())
    for place, column in enumerate(COLUMNS):
        assert column.name in TABLE_COLUMNS
        assert model.headerData(place, Qt.Orientation.Horizontal) == column.heading
        assert len(model.headerData(place, Qt.Orientation.Horizontal, Qt.ItemDataRole.ToolTipRole)) > 10


def test_the_row_under_the_pointer_is_lit(model, qtbot):
    with qtbot.waitSignal(model.dataChanged):
        model.set_pointed(3)
    row = model.view_rows([3])[0]
    assert model.index(row, 0).data(Qt.ItemDataRole.BackgroundRole) is not None
    assert model.index(row + 1, 0).data(Qt.ItemDataRole.BackgroundRole) is None
