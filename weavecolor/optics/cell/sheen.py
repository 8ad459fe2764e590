"""The light that fibre surfaces send back, uncoloured by the dye.

Knows one patch of parallel fibres; knows nothing of weave, colour or scenes. A fibre scatters from
its surface on the specular cone about its tangent (S. R. Marschner and others, ACM TOG 22 (2003)
780): S = M N F / cos^2(theta_d), with M a Gaussian in theta_i + theta_o, N = cos(phi / 2) / 4 and F
the Fresnel reflectance of the half-way ray. A yarn's surface is a dense mat of such fibres, where
the light going in and the light coming out are each dimmed in proportion to the fibre length they
cross, as in the Lommel-Seeliger law (S. Chandrasekhar, Radiative Transfer, 1950, section 26).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def fresnel(cosine: ArrayLike, index: float) -> Array:
    """Unpolarised Fresnel reflectance of a smooth face, from outside.

    ``cosine`` of the angle of incidence, 0-1; ``index`` relative refractive index >= 1.
    """
    c = np.clip(np.asarray(cosine), 0.0, 1.0)
    t = np.sqrt(1.0 - (1.0 - c * c) / index**2)
    s = (c - index * t) / (c + index * t)
    p = (index * c - t) / (index * c + t)
    return np.asarray(0.5 * (s * s + p * p))


def azimuthal(phi: ArrayLike) -> Array:
    """Surface lobe about the fibre, cos(phi / 2) / 4; its integral over (-pi, pi) is 1."""
    return 0.25 * np.cos(0.5 * np.asarray(phi, float))


def mat_factor(
    tangent: Array, normal: Array, toward_in: Array, toward_out: Array, index: float, width: float
) -> Array:
    """pi times the BRDF of a mat of parallel fibres, 1; symmetric in the two directions.

    Parameters
    ----------
    tangent, normal : ndarray, shape (..., 3)
        Unit fibre direction and outward normal of the mat.
    toward_in, toward_out : ndarray, shape (..., 3)
        Unit vectors to the light and to the viewer; all four broadcast together.
    index : float
        Refractive index of the fibre.
    width : float
        Longitudinal standard deviation of the half angle, radians, > 0.
    """

    def dot(a: Array, b: Array) -> Array:
        return np.asarray(np.einsum("...k,...k->...", a, b))

    return mat_factor_of(
        dot(normal, toward_in),
        dot(normal, toward_out),
        dot(tangent, toward_in),
        dot(tangent, toward_out),
        dot(toward_in, toward_out),
        index,
        width,
    )


def mat_factor_of(
    mu_i: Array, mu_o: Array, s_i: Array, s_o: Array, between: Array, index: float, width: float
) -> Array:
    """:func:`mat_factor` from the cosines: of both directions with the normal (``mu``), with the
    tangent (``s``), and ``between`` the two. Keeps the arrays' precision."""
    s_i, s_o = np.clip(s_i, -1.0, 1.0), np.clip(s_o, -1.0, 1.0)
    c_i, c_o = np.sqrt(1.0 - s_i * s_i), np.sqrt(1.0 - s_o * s_o)
    cos_phi = (between - s_i * s_o) / np.maximum(c_i * c_o, 1e-9)
    half_phi = np.sqrt(np.clip(0.5 * (1.0 + cos_phi), 0.0, 1.0))
    theta_i, theta_o = np.arcsin(s_i), np.arcsin(s_o)
    cos_d = np.cos(0.5 * (theta_o - theta_i))
    spread = 2.0 * float(width)
    lobe = np.exp(-0.5 * ((theta_i + theta_o) / spread) ** 2) / (spread * float(np.sqrt(2 * np.pi)))
    fibre = lobe * 0.25 * half_phi * fresnel(cos_d * half_phi, index) / np.maximum(cos_d**2, 1e-9)
    both = (mu_i > 0) & (mu_o > 0)
    dimming = c_i * c_o / np.maximum(np.where(both, c_i * mu_o + c_o * mu_i, 1.0), 1e-9)
    return np.where(both, np.pi * fibre * dimming, 0.0)
