"""
sun
"""

from __future__ import annotations
