//! Room `signal`.
