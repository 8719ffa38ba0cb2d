"""
noise
"""

from __future__ import annotations
