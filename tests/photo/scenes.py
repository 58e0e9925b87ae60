"""Invented photographs: a flat pattern before a camera that stands somewhere in front of it."""

from __future__ import annotations

import numpy as np

FOCAL_PX = 3000.0
MIDDLE_PX = np.array([2000.0, 1500.0])


def seen(rng: np.random.Generator, face_mm: np.ndarray, tilt_deg: float = 40.0) -> np.ndarray:
    """Picture (x right, y down) of a face with x right and y up, from up to `tilt_deg` off square."""
    extent = float(np.ptp(face_mm, axis=0).max())
    tilt, around = np.radians(rng.uniform(0.0, tilt_deg)), rng.uniform(0.0, 2.0 * np.pi)
    roll, away = rng.uniform(-0.5, 0.5), extent * rng.uniform(1.5, 3.0)
    towards = np.array([np.sin(tilt) * np.cos(around), np.sin(tilt) * np.sin(around), np.cos(tilt)])
    stand = np.array([*face_mm.mean(axis=0), 0.0]) + away * towards
    ahead = -towards
    right = np.cross(ahead, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    axes = np.stack([right, np.cross(ahead, right), ahead])
    turn = np.array([[np.cos(roll), -np.sin(roll), 0.0], [np.sin(roll), np.cos(roll), 0.0], [0.0, 0.0, 1.0]])
    there = (np.column_stack([face_mm, np.zeros(len(face_mm))]) - stand) @ (turn @ axes).T
    return FOCAL_PX * there[:, :2] / there[:, 2:] + MIDDLE_PX
