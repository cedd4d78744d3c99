"""The pictures that commands write: section.png, history.png, comparison.png, widths.png, mix.png, sheet.png, rules.png,
hygiene.png, turning.png, probes.png, winter.png and budget.png.

Each function returns a ``matplotlib.figure.Figure``; :func:`save` writes it as a PNG, complete or not at all.
"""

from pilesim.show.budget_picture import budget_figure
from pilesim.show.comparison_picture import comparison_figure
from pilesim.show.history_picture import history_figure
from pilesim.show.maps_picture import hygiene_figure, rules_figure
from pilesim.show.mix_picture import mix_figure
from pilesim.show.page import save
from pilesim.show.probes_picture import probes_figure
from pilesim.show.section_picture import section_figure
from pilesim.show.sheet_picture import sheet_figure
from pilesim.show.turning_picture import turning_figure
from pilesim.show.widths_picture import widths_figure
from pilesim.show.winter_picture import winter_figure

__all__ = ["budget_figure", "comparison_figure", "history_figure", "hygiene_figure", "mix_figure", "probes_figure",
           "rules_figure", "save", "section_figure", "sheet_figure", "turning_figure", "widths_figure", "winter_figure"]
