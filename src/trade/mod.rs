//! Room `trade`.
