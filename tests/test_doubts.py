"""Doubts are data below `wording`: every code that is used has a sentence, every sentence a code, in both systems."""

from __future__ import annotations


