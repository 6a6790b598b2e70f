//! Holds nothing: the checks are in `tests/`.
