"""What the user describes: the scene model, file reading, checks, surfaces and the editor schema.

Public: `Scene`, `Uncertain`, `nominal` (model), `load_scene`, `scene_from_text` (read), `scene_schema`
(schema), `Surface`, `known_surfaces`, `surface_of`, `reflectance_table` (materials). They are imported from
their modules, so that a command that needs none of them starts fast.
"""
