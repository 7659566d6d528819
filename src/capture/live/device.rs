//! What a sound card records.

use super::reader::Out;
use super::stream::LiveStream;
use super::{LiveFormat, Pace, Trouble};
use crate::capture::{CaptureError, check_rate};
use crate::sound_card::{Input, Loss};
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// How often is looked whether something has come.
const LOOK: Duration = Duration::from_millis(5);

impl LiveStream {
    /// The input of a sound card, the system's own choice without a name, at a usual rate if none is given. It does not wait
    /// for a slow listener: what it lost is said, and when it is gone that is said and the stream ends.
    ///
    /// # Errors
    /// [`CaptureError::SoundCard`]; if the rate is none at which anything can be measured.
    pub fn device(name: Option<&str>, rate_hz: Option<u32>) -> Result<Self, CaptureError> {
        let input = Input::open(name, rate_hz)?;
        let path = PathBuf::from(input.name());
        let rate_hz = f64::from(input.rate_hz());
        check_rate(&path, rate_hz)?;
        let chosen = if input.channels() == 1 { [0, 0] } else { [0, 1] };
        let kind = format!("sound card {}", input.name());
        let format =
            LiveFormat::new(&kind, rate_hz, &format!("{} bit", input.bits()), input.channels(), chosen);
        Self::spawn(&path, format, move |queue| hear(input, Out::new(queue, rate_hz, Pace::Fast)))
    }
}

/// Sound that was lost, and how much of what waits was recorded before it.
struct Lost {
    frames: Option<u64>,
    before: usize,
}

/// Hands on what comes, until the device is gone or nobody listens any more.
fn hear(mut input: Input, mut out: Out) {
    let block = out.queue().block_frames();
    let mut sides = [(); 2].map(|()| Vec::with_capacity(block));
    let mut lost: Option<Lost> = None;
    loop {
        if lost.is_none() {
            lost = input.lost().map(|loss| {
                let frames = match loss {
                    Loss::Frames(frames) => Some(frames),
                    Loss::Unknown => None,
                };
                Lost { frames, before: input.waiting() }
            });
        }
        if let Some(Lost { frames, .. }) = lost.take_if(|lost| lost.before == 0)
            && !out.queue().trouble(Trouble::Lost { frames })
        {
            return;
        }
        sides.iter_mut().for_each(Vec::clear);
        let most = lost.as_ref().map_or(block, |lost| lost.before.min(block));
        input.read(most, &mut sides);
        let came = sides[0].len();
        if let Some(lost) = &mut lost {
            lost.before -= came;
        }
        if came > 0 {
            if !out.push([&sides[0], &sides[1]]) {
                return;
            }
        } else if let Some(what) = input.gone() {
            if out.queue().trouble(Trouble::Unplugged { what }) {
                out.end();
            }
            return;
        } else if !out.queue().pause(Instant::now() + LOOK) {
            return;
        }
    }
}
