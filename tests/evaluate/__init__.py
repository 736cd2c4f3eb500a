"""Tests of evaluation."""
