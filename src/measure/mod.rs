//! Room `measure`.
