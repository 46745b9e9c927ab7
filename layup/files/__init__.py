"""What is in this file: meshes, CAD faces, drawings, measured points, photographs."""
