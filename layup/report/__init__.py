"""How is a result shown?
Means: `palette`, `saving.save`, `work_bar`, `document.Document` as `document_pdf.pdf_bytes` and `document_html`.
A surface drawn: `shape_drawing.draw_shape`, `surface_picture.draw_surface`, `surface_html`, `stage_buffer.stage`.
"""
