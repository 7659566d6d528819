//! Room `judge`.
