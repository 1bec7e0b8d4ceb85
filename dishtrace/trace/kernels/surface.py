"""What a surface does with the light that meets it."""

from __future__ import annotations

import math

from dishtrace.trace.compiling import device


@device
def face_reflectances(index, cosine):
    """Fresnel reflectances (s, p) of a face between air and glass, and the cosine inside.

    Source: any optics text, e.g. Duffie and Beckman, Solar Engineering of Thermal Processes, sec. 5.1.
    """
    inside = math.sqrt(1.0 - (1.0 - cosine * cosine) / (index * index))
    s = (cosine - index * inside) / (cosine + index * inside)
    p = (index * cosine - inside) / (index * cosine + inside)
    return s * s, p * p, inside


@device
def _sheet_of_one_polarisation(r, tau):
    """Reflected and transmitted share of a sheet with face reflectance r and internal transmittance tau."""
    transmitted = (1.0 - r) * (1.0 - r) * tau / (1.0 - r * r * tau * tau)
    return r * (1.0 + tau * transmitted), transmitted


@device
def sheet_optics(index, optical_depth, cosine):
    """Reflected and transmitted share of unpolarised light at a plane glass sheet, all passes inside summed.

    index: refractive index [-]; optical_depth: extinction times thickness [-]; cosine of the incidence angle [-].
    """
    r_s, r_p, inside = face_reflectances(index, min(cosine, 1.0))
    tau = math.exp(-optical_depth / inside)
    reflected_s, transmitted_s = _sheet_of_one_polarisation(r_s, tau)
    reflected_p, transmitted_p = _sheet_of_one_polarisation(r_p, tau)
    return 0.5 * (reflected_s + reflected_p), 0.5 * (transmitted_s + transmitted_p)
