"""Before against after: did the repair help?

`comparison` composes, `sides` gathers the two sides, `weighing` tests the rates, `compared` says what came of it,
`condition_change` looks at level and noise, `stages` at which part earned it, `alike` at what may not be compared,
`aspects` and `judged` at movement, jumps, noise, level, power-up and protection.
"""
