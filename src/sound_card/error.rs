//! What can go wrong with a sound card.

use thiserror::Error;

/// Errors of the room `sound_card`. Every message names the device, what was found and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum SoundCardError {
    /// No device has the name.
    #[error("{device}: no {way} of the sound card has this name; there are: {there}")]
    NoSuchDevice {
        /// The name as it was given.
        device: String,
        /// `input` or `output`.
        way: &'static str,
        /// Names of those that are there.
        there: String,
    },
    /// A part of a name fits more than one device.
    #[error("{device}: fits more than one {way}; give the whole name of one of these: {there}")]
    Several {
        /// The name as it was given.
        device: String,
        /// `input` or `output`.
        way: &'static str,
        /// Names of those that it fits.
        there: String,
    },
    /// The system names no device at all.
    #[error("sound card: the system has no {way}; connect one, and see whether its settings show it")]
    None {
        /// `input` or `output`.
        way: &'static str,
    },
    /// The device does not have the sample rate.
    #[error("{device}: this {way} has no {rate_hz} Hz; it has {there} Hz")]
    Rate {
        /// The device.
        device: String,
        /// `input` or `output`.
        way: &'static str,
        /// The rate that was asked for, Hz.
        rate_hz: u32,
        /// Rates that it has.
        there: String,
    },
    /// The device cannot hand out or take samples in a way that is known here.
    #[error("{device}: cannot be used as {way} ({what}); choose another device")]
    Unusable {
        /// The device.
        device: String,
        /// `input` or `output`.
        way: &'static str,
        /// What it has, or what the system says.
        what: String,
    },
    /// The device is there and cannot be opened.
    #[error("{device}: cannot be opened ({what}); end other programs that use it")]
    Open {
        /// The device.
        device: String,
        /// What the system says.
        what: String,
    },
    /// The device gave up while it ran.
    #[error("{device}: has stopped ({what}); see whether it is connected, and start again")]
    Stopped {
        /// The device.
        device: String,
        /// What the system says.
        what: String,
    },
}
