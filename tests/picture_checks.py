"""Checks that any picture must pass: readable text, units on axes, a whole PNG file."""

import struct
import zlib

from matplotlib.backends.backend_agg import FigureCanvasAgg

TOUCHING = 1.0  # [pixel] overlap of text boxes that still reads as apart


def png_size(path):
    """Width and height [pixel] of a PNG file whose chunks are all there and whose checksums hold.

    Layout and checksum as in ISO/IEC 15948 (Portable Network Graphics), clause 5.
    """
    data = path.read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    position, kinds, size = 8, [], None
    while position < len(data):
        (length,) = struct.unpack(">I", data[position : position + 4])
        kind, body = data[position + 4 : position + 8], data[position + 8 : position + 8 + length]
        (checksum,) = struct.unpack(">I", data[position + 8 + length : position + 12 + length])
        assert zlib.crc32(kind + body) == checksum
        size = struct.unpack(">II", body[:8]) if kind == b"IHDR" else size
        kinds.append(kind)
        position += 12 + length
    assert kinds[0] == b"IHDR" and kinds[-1] == b"IEND"
    return size


def _tick_labels(axis):
    low, high = sorted(axis.get_view_interval())
    slack = 1e-9 * max(abs(low), abs(high))
    ticks = [t for t in axis.get_major_ticks() if low - slack <= t.get_loc() <= high + slack]
    return [label for tick in ticks for label in (tick.label1, tick.label2)]


def drawn_texts(figure):
    """All texts that end up in the picture: (text, box in pixels)."""
    FigureCanvasAgg(figure).draw()
    texts = list(figure.texts) + [text for legend in figure.legends for text in legend.get_texts()]
    for axes in figure.axes:
        texts += [*axes.texts, axes.title, axes._left_title, axes._right_title]
        texts += [axes.xaxis.label, axes.yaxis.label, *_tick_labels(axes.xaxis), *_tick_labels(axes.yaxis)]
    texts = [text for text in texts if text.get_visible() and text.get_text().strip()]
    return [(text.get_text(), text.get_window_extent()) for text in texts]


def clipped_texts(figure):
    """Texts that leave the picture."""
    width, height = figure.canvas.get_width_height()
    return [
        text
        for text, box in drawn_texts(figure)
        if box.x0 < -TOUCHING or box.y0 < -TOUCHING or box.x1 > width + TOUCHING or box.y1 > height + TOUCHING
    ]


def overlapping_texts(figure):
    """Pairs of texts whose boxes overlap."""
    placed = drawn_texts(figure)
    pairs = []
    for k, (text, a) in enumerate(placed):
        for other, b in placed[k + 1 :]:
            across, up = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
            if across > TOUCHING and up > TOUCHING:
                pairs.append((text, other))
    return pairs


def axis_labels(figure):
    """Labels of all axes that have one."""
    labels = [label for axes in figure.axes for label in (axes.get_xlabel(), axes.get_ylabel())]
    return [label for label in labels if label]


def all_words(figure):
    """All drawn text in one line."""
    return " ".join(text for text, _ in drawn_texts(figure))


def artists_called(figure, gid):
    """Artists that carry this gid."""
    return figure.findobj(lambda artist: artist.get_gid() == gid)
