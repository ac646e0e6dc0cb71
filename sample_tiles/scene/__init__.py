"""An invented place, from its terrain to the pulses that survey it.

Reading order: `fields` (smooth random fields), `terrain` (the ground), `objects` (boulders, buildings, walls, logs),
`plants` (trees, undergrowth, grass), `place` (all of it put together from one seed), `pulses` (the survey flight),
`records` (LAZ tiles and truth files).
"""
