"""Stored facts as a person sees them: page dataclasses, drawings, chart figures. Nothing else draws."""
