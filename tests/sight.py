"""How a picture looks without colour and to those who do not see red from green, or blue from yellow.

Machado, Oliveira, Fernandes 2009, "A physiologically-based model for simulation of color vision deficiency",
severity 1.0; from memory. Each row adds up to 1: white stays white.
"""

import numpy as np

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1, linear sRGB
SIGHT = {
    "normal": np.eye(3),
    "grey": np.tile(LUMINANCE, (3, 1)),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def linear(srgb: np.ndarray) -> np.ndarray:
    """sRGB from 0 to 1 (IEC 61966-2-1) as linear light."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def shown(light: np.ndarray) -> np.ndarray:
    """Linear light as sRGB from 0 to 1."""
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


def seen_as(pixels: np.ndarray, sight: str) -> np.ndarray:
    """Pixels (..., 3) of 0 to 255 as seen with that sight."""
    return np.round(255 * shown(linear(pixels / 255) @ SIGHT[sight].T)).astype(np.uint8)


def lab(light: np.ndarray) -> np.ndarray:
    """CIE 1976 L*a*b* (..., 3) of linear sRGB (..., 3), white point D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    t = np.clip(light, 0, 1) @ to_xyz.T / [0.9505, 1.0, 1.089]
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)
