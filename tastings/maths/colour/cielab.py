"""Colour: sRGB to CIELAB, adaptation to another white, and the CIEDE2000 difference.

XYZ values are relative to a white of Y = 1. CIELAB here is for the 2 degree observer; where no white is given it is
under D65, the white of sRGB.
"""

import numpy as np

from tastings.maths.arrays import FloatArray

D65: FloatArray = np.array([0.95047, 1.0, 1.08883])
"""White point X, Y, Z. Source: ASTM E308, 2 degree observer (from memory, as commonly printed)."""
D50: FloatArray = np.array([0.96422, 1.0, 0.82521])
"""White point X, Y, Z. Source: ICC profile connection space; ASTM E308 (from memory, as commonly printed)."""
SRGB_TO_XYZ: FloatArray = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
"""Linear sRGB to XYZ under D65. Source: IEC 61966-2-1 primaries with the D65 above, to seven decimals."""
_BRADFORD: FloatArray = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_EDGE, _SLOPE = 216 / 24389, 24389 / 27


def linear(srgb: FloatArray) -> FloatArray:
    """Undo sRGB's transfer curve.

    Parameters
    ----------
    srgb : float64[..., 3]
        Encoded values. [0 to 1]

    Returns
    -------
    float64[..., 3]
        Proportional to light. [0 to 1]

    Notes
    -----
    Source: IEC 61966-2-1.

    Examples
    --------
    >>> linear(np.array([0.0, 0.5, 1.0])).round(4).tolist()
    [0.0, 0.214, 1.0]
    """
    lifted = ((np.maximum(srgb, 0.0) + 0.055) / 1.055) ** 2.4
    return np.where(srgb <= 0.04045, srgb / 12.92, lifted)


def encoded(light: FloatArray) -> FloatArray:
    """Apply sRGB's transfer curve, the inverse of :func:`linear`; what sRGB cannot show is cut to its ends.

    Parameters
    ----------
    light : float64[..., 3]
        Proportional to light. [0 to 1]

    Returns
    -------
    float64[..., 3]
        Encoded values. [0 to 1]

    Notes
    -----
    Source: IEC 61966-2-1.

    Examples
    --------
    >>> encoded(np.array([0.0, 0.2140411, 1.0])).round(4).tolist()
    [0.0, 0.5, 1.0]
    """
    clipped = np.clip(light, 0.0, 1.0)
    curved = np.where(clipped <= 0.0031308, 12.92 * clipped, 1.055 * np.maximum(clipped, 1e-12) ** (1 / 2.4) - 0.055)
    return np.asarray(np.clip(curved, 0.0, 1.0), dtype=np.float64)


def xyz_of(linear_rgb: FloatArray) -> FloatArray:
    """Return X, Y, Z of linear sRGB; the white of sRGB has Y = 1."""
    return np.asarray(linear_rgb @ SRGB_TO_XYZ.T, dtype=np.float64)


def lab_of(xyz: FloatArray, *, white: FloatArray = D65) -> FloatArray:
    """Return CIELAB L*, a*, b* of X, Y, Z under a white.

    Parameters
    ----------
    xyz : float64[..., 3]
        Relative to a white of Y = 1; slightly negative values, of colours beyond sRGB, are taken as they are.
    white : float64[3]
        The white that gets L* = 100 and a* = b* = 0.

    Returns
    -------
    float64[..., 3]
        L*, a*, b*.

    Notes
    -----
    Source: CIE 15, with the exact fractions 216/24389 and 24389/27.

    Examples
    --------
    >>> lab_of(D65).round(6).tolist()
    [100.0, 0.0, 0.0]
    """
    ratio = xyz / white
    bent = np.where(ratio > _EDGE, np.cbrt(np.maximum(ratio, _EDGE)), (_SLOPE * ratio + 16) / 116)
    x, y, z = bent[..., 0], bent[..., 1], bent[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def srgb_of(lab: FloatArray) -> FloatArray:
    """Return the sRGB value of CIELAB under D65; what sRGB cannot show is cut to its ends.

    Parameters
    ----------
    lab : float64[..., 3]
        L*, a*, b*.

    Returns
    -------
    float64[..., 3]
        Encoded values. [0 to 1]

    Notes
    -----
    Source: the inverse of :func:`lab_of` and IEC 61966-2-1.

    Examples
    --------
    >>> (255 * srgb_of(lab_of(xyz_of(linear(np.array([199, 120, 40]) / 255))))).round().tolist()
    [199.0, 120.0, 40.0]
    """
    f_y = (lab[..., 0] + 16) / 116
    bent = np.stack([f_y + lab[..., 1] / 500, f_y, f_y - lab[..., 2] / 200], axis=-1)
    ratio = np.where(bent**3 > _EDGE, bent**3, (116 * bent - 16) / _SLOPE)
    return encoded((ratio * D65) @ np.linalg.inv(SRGB_TO_XYZ).T)


def adaptation(*, seen: FloatArray, target: FloatArray) -> FloatArray:
    """Return the matrix that carries X, Y, Z seen under one white to what they would be under another.

    Parameters
    ----------
    seen, target : float64[3]
        The white of the scene, with whatever Y it has, and the white it is to become. Exposure is evened out as well:
        the scene's white ends at exactly ``target``.

    Returns
    -------
    float64[3, 3]
        To be applied as ``xyz @ matrix.T``.

    Notes
    -----
    A von Kries scaling of Bradford's sharpened cone responses. Source: Lam 1985, as used by ICC profiles.

    Examples
    --------
    >>> (D50 @ adaptation(seen=D50, target=D65).T).round(5).tolist()
    [0.95047, 1.0, 1.08883]
    """
    gain = (_BRADFORD @ target) / (_BRADFORD @ seen)
    return np.asarray(np.linalg.solve(_BRADFORD, gain[:, None] * _BRADFORD), dtype=np.float64)


def ciede2000(first: FloatArray, second: FloatArray) -> FloatArray:
    """Return the CIEDE2000 difference of colours in CIELAB, with all weights 1.

    Parameters
    ----------
    first, second : float64[..., 3]
        L*, a*, b*; shapes must go together by NumPy's broadcasting.

    Returns
    -------
    float64[...]
        Difference; 1 is about what an eye just sees.

    Notes
    -----
    Source: Sharma, Wu and Dalal 2005, Color Res Appl 30:21-30, equations 2 to 22.

    Examples
    --------
    >>> float(ciede2000(np.array([50.0, 2.5, 0.0]), np.array([50.0, 0.0, -2.5])).round(4))
    4.3065
    """
    first, second = np.broadcast_arrays(first, second)
    l1, a1, b1 = (first[..., i] for i in range(3))
    l2, a2, b2 = (second[..., i] for i in range(3))
    mean_c7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    g = 0.5 * (1 - np.sqrt(mean_c7 / (mean_c7 + 25.0**7)))
    a1, a2 = (1 + g) * a1, (1 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    turn = h2 - h1
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    turn = np.where(grey, 0.0, turn)
    d_l, d_c = l2 - l1, c2 - c1
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    mean_l, mean_c, total_h = (l1 + l2) / 2, (c1 + c2) / 2, h1 + h2
    apart = np.abs(h1 - h2) > 180
    mean_h = np.where(apart, np.where(total_h < 360, total_h + 360, total_h - 360), total_h) / 2
    mean_h = np.where(grey, total_h, mean_h)
    t = (
        1
        - 0.17 * np.cos(np.radians(mean_h - 30))
        + 0.24 * np.cos(np.radians(2 * mean_h))
        + 0.32 * np.cos(np.radians(3 * mean_h + 6))
        - 0.20 * np.cos(np.radians(4 * mean_h - 63))
    )
    lightness = (mean_l - 50) ** 2
    s_l = 1 + 0.015 * lightness / np.sqrt(20 + lightness)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    c7 = mean_c**7
    swing = -np.sin(np.radians(60 * np.exp(-(((mean_h - 275) / 25) ** 2)))) * 2 * np.sqrt(c7 / (c7 + 25.0**7))
    l_, c_, h_ = d_l / s_l, d_c / s_c, d_h / s_h
    return np.asarray(np.sqrt(np.maximum(l_**2 + c_**2 + h_**2 + swing * c_ * h_, 0.0)), dtype=np.float64)
