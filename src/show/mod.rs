//! Room `show`.
