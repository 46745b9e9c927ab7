"""What is one cured ply, and a stack of them: how heavy, how thick, how stiff, how strong?
A process and a shop's hand: `process.settle`, `process.Process`, `process.Habits`. A ply: `cured`, `elastic.cured_ply`.
Stacks: `stiffness.stack_stiffness`, `strength.reserve_factor`, `plate`, `sandwich`, `panel.build_panel`, `search`.
"""
