"""Rules as data, the engine that tests them, the spans that come out."""
