"""Mattes joined: what all keep, what any keeps, and one less another."""

from collections.abc import Sequence

import numpy as np

from glimsum_jobs.errors import LightError
from glimsum_workers.engine.codes import Plane


def all_of(weights: Sequence[Plane]) -> Plane:
    """Return what all of some mattes keep: the product of their weights.

    Parameters
    ----------
    weights : sequence of Plane
        0..1, at least one, all of one size.

    Returns
    -------
    Plane
        0..1: the alpha of Porter and Duff's ``in``. Edges within a pixel are taken to lie
        anyhow against each other, so that a matte with itself keeps 0.25 where it kept 0.5.

    Raises
    ------
    LightError
        If sizes differ.

    References
    ----------
    Porter & Duff 1984, Compositing digital images, doi 10.1145/800031.808606;
    W3C Compositing and Blending Level 1, section 9.
    """
    for each in weights[1:]:
        if each.shape != weights[0].shape:
            raise LightError(
                "The mattes that are joined differ in size",
                seen=f"{each.shape[1]} x {each.shape[0]} pixels",
                expected=f"{weights[0].shape[1]} x {weights[0].shape[0]} pixels",
                remedy="Make them all as large as the reference.",
            )
    product = weights[0].copy()
    for each in weights[1:]:
        product *= each
    return product


def any_of(weights: Sequence[Plane]) -> Plane:
    """Return what any of some mattes keeps: 1 less the product of what they leave.

    Parameters
    ----------
    weights : sequence of Plane
        0..1, at least one, all of one size.

    Returns
    -------
    Plane
        0..1: the alpha of Porter and Duff's ``over`` (see `all_of`). Two shapes that meet
        along a line keep 0.75 on it where each kept 0.5: let them overlap.

    Raises
    ------
    LightError
        If sizes differ.
    """
    return turned(all_of([turned(each) for each in weights]))


def less(weight: Plane, without: Plane) -> Plane:
    """Return a matte with another one held out: the first times what the second leaves.

    Parameters
    ----------
    weight, without : Plane
        0..1, of one size.

    Returns
    -------
    Plane
        0..1: the alpha of Porter and Duff's ``out`` (see `all_of`).

    Raises
    ------
    LightError
        If sizes differ.
    """
    return all_of([weight, turned(without)])


def turned(weight: Plane) -> Plane:
    """Return a matte turned round: 1 less its weight, 0..1."""
    return np.asarray(np.float32(1) - weight, dtype=np.float32)
