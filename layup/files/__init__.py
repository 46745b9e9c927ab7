"""What is in this file, and how is a file written whole or not at all?
A surface: `read.read_surface`; a drawing: `read_drawing.read_drawing`; a template: `read_photo.read_photo`; `stations`.
Any file in and out: `reading.read_file`, `writing.write_file`; where operating systems differ: `systems`.
"""
