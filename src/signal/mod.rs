//! Room `signal`: filters, spectra and demodulation that know nothing of tape.

pub mod baseband;
pub mod fir;
pub mod overlap_save;
pub mod spectrum;
