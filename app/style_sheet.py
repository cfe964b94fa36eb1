"""The one style sheet. A widget asks for a look by its dynamic property ``look``; see the names below."""

from PySide6.QtWidgets import QApplication

from app import icons
from app.theme import RADIUS, SIZES, Palette

# look -> widget it is meant for, so that nobody has to guess
LOOKS = {
    "primary": "QPushButton: the one obvious next step of a page",
    "quiet": "QPushButton, QToolButton: present but not asking for attention",
    "tool": "QToolButton: one of a row of tools, worded where there is room",
    "card": "QFrame: things that belong together",
    "strip": "QFrame: a message in place; with the property level note, done, warning or error",
    "panel": "QWidget: the column beside a picture",
    "title": "QLabel: heads a page",
    "heading": "QLabel: heads a card",
    "soft": "QLabel: explains",
    "small": "QLabel: explains, where there is little room",
    "figure": "QLabel: a number that matters",
    "warning": "QLabel: says what is wrong",
    "error": "QLabel: says what stopped the work",
    "done": "QLabel: says what is well",
}


def style_sheet(palette: Palette) -> str:
    """Return the style sheet in these colours."""
    colours = {name: value for name, value in vars(palette).items() if name != "name"}
    body = QApplication.font().pointSizeF()
    sizes = {f"{name}_size": f"{body * value:.1f}pt" for name, value in SIZES.items()}
    arrows = {f"{way}_arrow": icons.as_file(way, palette.soft_ink) for way in ("down", "up")}
    arrows["tick"] = icons.as_file("done", palette.ink)
    return _TEMPLATE.format(**colours, **sizes, **arrows, radius=RADIUS)


_TEMPLATE = """
QToolTip {{ background: {surface}; color: {ink}; border: 1px solid {edge}; padding: 4px; }}
QMainWindow, QDialog {{ background: {window}; }}
QMenuBar {{ background: {rail}; color: {ink}; border-bottom: 1px solid {line}; }}
QMenuBar::item {{ padding: 5px 10px; background: transparent; }}
QMenuBar::item:selected {{ background: {accent_soft}; color: {ink}; border-radius: 4px; }}
QMenu {{ background: {surface}; color: {ink}; border: 1px solid {edge}; padding: 4px; }}
QMenu::item {{ padding: 5px 24px 5px 12px; border-radius: 4px; }}
QMenu::item:selected {{ background: {accent_soft}; color: {ink}; }}
QMenu::item:disabled {{ color: {faint_ink}; }}
QMenu::separator {{ height: 1px; background: {line}; margin: 4px 8px; }}

QFrame[look="card"] {{ background: {surface}; border: 1px solid {line}; border-radius: {radius}px; }}
QFrame[look="tour"] {{ background: {surface}; border: 2px solid {accent}; border-radius: {radius}px; }}
QFrame[look="strip"] {{ background: {surface}; border-top: 1px solid {line}; }}
QFrame[look="strip"][level="warning"] {{ background: {warning_soft}; }}
QFrame[look="strip"][level="error"] {{ background: {error_soft}; }}
QWidget[look="panel"] {{ background: {window}; }}
QWidget[look="rail"] {{ background: {rail}; border-right: 1px solid {line}; }}
QLabel {{ background: transparent; }}
QLabel[look="title"] {{ font-size: {title_size}; font-weight: 600; }}
QLabel[look="heading"] {{ font-weight: 600; }}
QLabel[look="small"] {{ font-size: {small_size}; color: {soft_ink}; }}
QLabel[look="soft"] {{ color: {soft_ink}; }}
QLabel[look="figure"] {{ font-size: {figure_size}; font-weight: 600; }}
QLabel[look="warning"] {{ color: {warning}; }}
QLabel[look="error"] {{ color: {error}; }}
QLabel[look="done"] {{ color: {done}; }}

QPushButton, QToolButton {{
  background: {surface}; color: {ink}; border: 1px solid {edge}; border-radius: {radius}px; padding: 5px 12px;
}}
QToolButton {{ padding: 4px 6px; }}
QPushButton:hover, QToolButton:hover {{ background: {raised}; }}
QPushButton:pressed, QToolButton:pressed, QToolButton:checked, QPushButton:checked {{
  background: {accent_soft}; border-color: {accent};
}}
QPushButton:focus, QToolButton:focus {{ border: 2px solid {accent}; padding: 4px 11px; }}
QToolButton:focus {{ padding: 3px 5px; }}
QPushButton:disabled, QToolButton:disabled {{
  color: {faint_ink}; border-color: {line}; background: transparent;
}}
QPushButton[look="primary"] {{
  background: {accent}; color: {accent_ink}; border: 1px solid {accent}; font-weight: 600; padding: 7px 16px;
}}
QPushButton[look="primary"]:hover {{ border-color: {ink}; }}
QPushButton[look="primary"]:focus {{ border: 2px solid {ink}; padding: 6px 15px; }}
QPushButton[look="primary"]:disabled {{
  background: {raised}; color: {soft_ink}; border-color: {line}; font-weight: 400;
}}
QPushButton[look="quiet"], QToolButton[look="quiet"] {{
  background: transparent; border: 1px solid transparent;
}}
QPushButton[look="quiet"]:hover, QToolButton[look="quiet"]:hover {{ background: {raised}; }}
QPushButton[look="quiet"]:focus, QToolButton[look="quiet"]:focus {{ border: 2px solid {accent}; }}
QToolButton[look="quiet"]:checked, QPushButton[look="quiet"]:checked {{
  background: {accent_soft}; border-color: {accent};
}}
QToolButton[look="tool"] {{
  background: transparent; border: 1px solid transparent; padding: 4px 2px; min-width: 24px;
}}
QToolButton[look="tool"]:hover {{ background: {raised}; }}
QToolButton[look="tool"]:focus {{ border: 2px solid {accent}; padding: 3px 1px; }}
QToolButton[look="tool"]:checked {{ background: {accent_soft}; border-color: {accent}; }}
QToolButton::menu-indicator {{ width: 0px; }}
QToolButton[popupMode="1"] {{ padding-right: 26px; }}
QToolButton::menu-button {{ border: none; width: 22px; }}
QToolButton::menu-arrow {{ image: url("{down_arrow}"); width: 10px; height: 10px; }}

QLineEdit, QPlainTextEdit, QTextEdit, QSpinBox, QDoubleSpinBox, QComboBox {{
  background: {surface}; color: {ink}; border: 1px solid {edge}; border-radius: 4px; padding: 3px 6px;
  selection-background-color: {accent}; selection-color: {accent_ink};
}}
QLineEdit:focus, QPlainTextEdit:focus, QTextEdit:focus, QSpinBox:focus, QDoubleSpinBox:focus,
QComboBox:focus {{
  border: 2px solid {accent}; padding: 2px 5px;
}}
QLineEdit:disabled, QPlainTextEdit:disabled, QSpinBox:disabled, QDoubleSpinBox:disabled,
QComboBox:disabled {{
  color: {faint_ink}; border-color: {line}; background: transparent;
}}
QDoubleSpinBox, QSpinBox {{ padding-left: 6px; }}
QComboBox::drop-down {{ border: none; width: 22px; }}
QComboBox::down-arrow {{ image: url("{down_arrow}"); width: 12px; height: 12px; }}
QSpinBox::up-arrow, QDoubleSpinBox::up-arrow {{ image: url("{up_arrow}"); width: 10px; height: 10px; }}
QSpinBox::down-arrow, QDoubleSpinBox::down-arrow {{
  image: url("{down_arrow}"); width: 10px; height: 10px;
}}
QComboBox::down-arrow:disabled, QSpinBox::down-arrow:disabled, QDoubleSpinBox::down-arrow:disabled,
QSpinBox::up-arrow:disabled, QDoubleSpinBox::up-arrow:disabled {{ image: none; }}
QSpinBox::up-button, QSpinBox::down-button, QDoubleSpinBox::up-button, QDoubleSpinBox::down-button {{
  border: none; width: 18px; background: transparent;
}}
QSpinBox::up-button:hover, QSpinBox::down-button:hover,
QDoubleSpinBox::up-button:hover, QDoubleSpinBox::down-button:hover {{ background: {raised}; }}
QComboBox QAbstractItemView {{
  background: {surface}; color: {ink}; border: 1px solid {edge};
  selection-background-color: {accent_soft}; selection-color: {ink};
}}

QListView, QTreeView, QTableView {{
  background: {surface}; color: {ink}; border: 1px solid {line}; border-radius: {radius}px; outline: none;
  selection-background-color: {accent_soft}; selection-color: {ink}; gridline-color: {line};
}}
QListView:focus, QTreeView:focus, QTableView:focus {{ border: 2px solid {accent}; }}
QListWidget::item {{ padding: 4px 6px; }}
QListView::indicator, QTreeView::indicator, QTableView::indicator, QCheckBox::indicator {{
  width: 14px; height: 14px; border: 1px solid {edge}; border-radius: 3px; background: {surface};
}}
QListView::indicator:checked, QTreeView::indicator:checked, QTableView::indicator:checked,
QCheckBox::indicator:checked {{ image: url("{tick}"); border-color: {ink}; }}
QCheckBox::indicator:focus {{ border: 2px solid {accent}; }}
QHeaderView::section {{
  background: {raised}; color: {ink}; border: none; border-right: 1px solid {line};
  border-bottom: 1px solid {line}; padding: 4px 6px;
}}
QScrollArea {{ border: none; background: transparent; }}
QScrollBar:vertical {{ background: transparent; width: 12px; margin: 0; }}
QScrollBar:horizontal {{ background: transparent; height: 12px; margin: 0; }}
QScrollBar::handle {{
  background: {faint_ink}; border-radius: 4px; margin: 2px; min-height: 28px; min-width: 28px;
}}
QScrollBar::handle:hover {{ background: {edge}; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
QScrollBar::add-page, QScrollBar::sub-page {{ background: transparent; }}

QProgressBar {{
  background: {raised}; border: none; border-radius: 4px; min-height: 8px; max-height: 8px;
  text-align: center;
}}
QProgressBar::chunk {{ background: {accent}; border-radius: 4px; }}
QSlider:horizontal {{ min-height: 20px; }}
QSlider::groove:horizontal {{ height: 4px; background: {line}; border-radius: 2px; }}
QSlider::sub-page:horizontal {{ background: {accent}; border-radius: 2px; }}
QSlider::handle:horizontal {{
  background: {surface}; border: 2px solid {accent}; width: 12px; margin: -6px 0; border-radius: 8px;
}}
QSlider::handle:horizontal:focus {{ background: {accent}; border-color: {ink}; }}
QSlider::handle:horizontal:disabled {{ border-color: {faint_ink}; }}
QSplitter::handle {{ background: {window}; }}
QSplitter::handle:hover {{ background: {accent}; }}
QTabBar::tab {{
  background: transparent; color: {soft_ink}; padding: 6px 12px; border: none;
  border-bottom: 3px solid transparent;
}}
QTabBar::tab:selected {{ color: {ink}; border-bottom-color: {accent}; }}
QTabBar::tab:focus {{ color: {accent}; }}
QTabWidget::pane {{ border: none; border-top: 1px solid {line}; }}
QGraphicsView {{ border: none; background: {picture}; }}
"""
