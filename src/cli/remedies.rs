//! How what an error asks for is typed.

use crate::capture::CaptureError;
use crate::job::{HouseError, ReadError};
use crate::measure::CardError;

/// The option by which the fault is put right; `None` if it is none of the command line's.
pub fn option(error: &anyhow::Error) -> Option<&'static str> {
    error.chain().find_map(|cause| {
        let house = cause.downcast_ref::<HouseError>().and_then(|error| match error {
            HouseError::Reading { source, .. } => of_card(source),
            _ => None,
        });
        let read = cause.downcast_ref::<ReadError>().and_then(|error| match error {
            ReadError::Capture(source) => of_capture(source),
            _ => None,
        });
        house.or(read).or_else(|| cause.downcast_ref().and_then(of_capture))
    })
}

fn of_capture(error: &CaptureError) -> Option<&'static str> {
    match error {
        CaptureError::Channels { .. } => Some("such as --channels 1,2"),
        CaptureError::NoSuchChannel { .. } => Some("--channels"),
        _ => None,
    }
}

fn of_card(error: &CardError) -> Option<&'static str> {
    match error {
        CardError::NotCalibrated => Some("--calibrated, read with --recorded-on calibrated"),
        CardError::NotHouse { .. } => Some("--house, read with --recorded-on house"),
        CardError::CardSubtracted => Some("read --card"),
        CardError::Deck { .. } => Some("read --deck"),
        CardError::Twice | CardError::None => Some("--house"),
        _ => None,
    }
}
