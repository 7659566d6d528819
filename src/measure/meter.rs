//! What all meters have in common.

/// Follows a signal in both channels, block by block, and tells what it measured.
///
/// The plan is all that a meter must know beforehand. None knows where its signal will end: whoever listens live may stop at any
/// block.
pub trait Meter: Sized {
    /// What must be known of the signal: how it is expected, and where.
    type Plan;
    /// What is measured.
    type Output;

    /// A meter for samples at `rate_hz`; `None` if the plan has no room at that rate.
    fn new(rate_hz: f64, plan: Self::Plan) -> Option<Self>;

    /// Feeds a block `[left, right]`; blocks of any size give the same result. A channel that is not there is fed as digital
    /// silence, and gives no values.
    fn feed(&mut self, block: [&[f64]; 2]);

    /// What all that was fed amounts to.
    fn finish(self) -> Self::Output;
}

/// Share of the top of a clipped channel from which on a tone's amplitude is taken to be clipped.
const CLIPPED: f64 = 0.9;

/// Whether a tone of `amplitude` reaches the `top` at which its channel is clipped, both full scale 1.
pub(crate) fn is_clipped(amplitude: f64, top: Option<f64>) -> bool {
    top.is_some_and(|top| amplitude >= CLIPPED * top)
}
