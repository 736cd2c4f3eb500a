"""Tests of pages."""
