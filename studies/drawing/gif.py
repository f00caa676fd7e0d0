"""Frames as a GIF that runs there and back without a jump."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from PIL import Image

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

STEP, HOLD = 350, 1400  # milliseconds a frame, and at either end


def there_and_back(frames: Sequence[np.ndarray], colours: int = 128) -> bytes:
    """The file's content: frames (height, width, 3) bytes each, in that many colours in all."""
    pictures = [Image.fromarray(f) for f in frames]
    palette = pictures[-1].quantize(colours, method=Image.Quantize.FASTOCTREE)
    small = [p.quantize(palette=palette, dither=Image.Dither.NONE) for p in pictures]
    loop = small + small[-2:0:-1]
    times = [STEP] * len(loop)
    times[0] = times[len(small) - 1] = HOLD
    held = io.BytesIO()
    loop[0].save(held, "GIF", save_all=True, append_images=loop[1:], duration=times, loop=0, optimize=True)
    return held.getvalue()
