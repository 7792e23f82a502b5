"""The guard: figures of the raw readings alone, gathered while a log is read; they can only take a clearance away."""
