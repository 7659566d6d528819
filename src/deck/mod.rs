//! Room `deck`.
