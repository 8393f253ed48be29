"""Out to the terminal and back: strips, boundary and guidance lines in open formats."""

from trialkit.design.guidance.field_drawing import FieldDrawing
from trialkit.design.guidance.field_reader import read_field_drawing
from trialkit.design.guidance.from_plan import draw_guidance
from trialkit.design.guidance.guidance_files import guidance_files, write_guidance

__all__ = [
    "FieldDrawing",
    "draw_guidance",
    "guidance_files",
    "read_field_drawing",
    "write_guidance",
]
