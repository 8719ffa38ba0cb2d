"""Contrast of text with the ground it is painted on, by WCAG 2.2."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.text import Text


def contrast(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """WCAG 2.2, definitions of relative luminance and contrast ratio; sRGB 0 to 1."""

    def luminance(rgb: np.ndarray) -> np.ndarray:
        linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
        return linear @ np.array([0.2126, 0.7152, 0.0722])

    a, b = luminance(np.asarray(one)), luminance(np.asarray(other))
    return (np.maximum(a, b) + 0.05) / (np.minimum(a, b) + 0.05)


def text_contrasts(axis: Axes) -> dict[str, float]:
    """Contrast of every text with nearly the worst of what lies under it, as painted.

    Text with a white edge has that as its ground.
    """
    figure = axis.get_figure()
    figure.set_dpi(150)
    texts = [t for t in figure.findobj(Text) if t.get_text().strip() and t.get_visible()]
    for text in texts:
        text.set_alpha(0.0)
    figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())[..., :3] / 255.0
    out = {}
    for text in texts:
        box = text.get_window_extent()
        rows = slice(int(pixels.shape[0] - box.y1), int(pixels.shape[0] - box.y0) + 1)
        under = pixels[rows, int(box.x0) : int(box.x1) + 1].reshape(-1, 3)
        assert len(under), f"{text.get_text()!r} is off the page"
        assert box.x0 > 0
        assert box.x1 < pixels.shape[1], f"{text.get_text()!r} runs off the page"
        assert box.y0 > 0, f"{text.get_text()!r} runs off the page"
        ground = np.ones((1, 3)) if text.get_path_effects() else under
        ratio = contrast(ground, np.array(to_rgb(text.get_color())))
        out[text.get_text()] = float(np.quantile(ratio, 0.05))
    return out
