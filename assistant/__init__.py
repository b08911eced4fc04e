"""The assistant for testing ignition coils: `step(bench, state, event) -> (state, effects)` and what surrounds it."""
