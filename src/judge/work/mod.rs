//! What is to be turned, step by step and in order.

pub(crate) mod bias_steps;
pub(crate) mod lists;
pub(crate) mod response_steps;
pub(crate) mod turns;
