//! Which bytes behind a WAV header are sound, when its length cannot be believed.

/// A row of chunks longer than this is sound: recorders append names and pictures, not more.
const MOST_HELD: usize = 1 << 20;

/// Sifts what comes behind the header.
#[derive(Debug)]
pub(super) struct Body {
    state: State,
    /// Bytes of sound that the header promises; `None` if it says that it does not know.
    promised: Option<u64>,
    passed: u64,
    /// What came behind the promised end and may be a row of chunks.
    held: Vec<u8>,
    /// Where its next chunk begins.
    next: usize,
    lie: Option<String>,
    /// The header is written anew as the recording goes on, and is no lie yet.
    growing: bool,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum State {
    /// Before the promised end.
    Promised,
    /// Behind it; what comes may be chunks.
    Held,
    /// It is sound, whatever the header says.
    Beyond,
}

/// What a stretch of bytes can be.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Row {
    /// Whole chunks.
    Whole,
    /// Chunks, the last one not whole.
    Open,
    /// No chunks.
    No,
}

impl Body {
    /// Behind a header that promises so many bytes.
    pub fn wav(promised: u32) -> Self {
        let promised = (promised != u32::MAX).then_some(u64::from(promised));
        Self { promised, ..Self::raw() }
    }

    /// Everything is sound.
    pub fn raw() -> Self {
        Self {
            state: State::Promised,
            promised: Some(u64::MAX),
            passed: 0,
            held: Vec::new(),
            next: 0,
            lie: None,
            growing: false,
        }
    }

    /// The recorder still writes; what the header says is only the beginning of the truth.
    pub fn still_grows(&mut self) {
        self.growing = true;
        if self.promised.is_none_or(|promised| promised == 0) {
            self.promised = Some(u64::MAX);
        }
    }

    /// The header promises something else now.
    pub fn now_promises(&mut self, promised: u32) {
        if self.state == State::Promised && promised != 0 && promised != u32::MAX {
            self.promised = Some(u64::from(promised).max(self.passed));
        }
    }

    /// Appends what of `bytes` is sound to `sound`.
    pub fn feed(&mut self, mut bytes: &[u8], sound: &mut Vec<u8>) {
        if bytes.is_empty() {
            return;
        }
        if self.state == State::Promised {
            match self.promised {
                None => self.go_beyond("does not know how long the recording is", sound),
                Some(promised) => {
                    let left = usize::try_from(promised - self.passed).unwrap_or(usize::MAX);
                    let (now, rest) = bytes.split_at(left.min(bytes.len()));
                    sound.extend_from_slice(now);
                    self.passed += now.len() as u64;
                    bytes = rest;
                    if self.passed == promised && !bytes.is_empty() {
                        self.state = State::Held;
                        // Chunks begin at even bytes.
                        self.next = (promised % 2) as usize;
                    }
                }
            }
        }
        match self.state {
            State::Promised => {}
            State::Beyond => sound.extend_from_slice(bytes),
            State::Held => {
                self.held.extend_from_slice(bytes);
                if self.row() == Row::No || self.held.len() > MOST_HELD {
                    self.more_than_promised(sound);
                }
            }
        }
    }

    /// Nothing comes any more: appends what was held and is sound after all.
    pub fn end(&mut self, sound: &mut Vec<u8>) {
        match (self.state, self.promised) {
            (State::Held, _) if self.row() != Row::Whole => self.more_than_promised(sound),
            (State::Promised, Some(promised)) if promised != u64::MAX && self.passed < promised => {
                self.lie =
                    Some(format!("promises {promised} bytes of samples, and {} have come", self.passed));
            }
            _ => {}
        }
    }

    /// What the header says that is not so; told once.
    pub fn lie(&mut self) -> Option<String> {
        self.lie.take().filter(|_| !self.growing)
    }

    fn more_than_promised(&mut self, sound: &mut Vec<u8>) {
        let what = match self.promised {
            Some(0) => "says that the recording is empty".to_owned(),
            promised => format!("promises {} bytes of samples, and more come", promised.unwrap_or(0)),
        };
        self.go_beyond(&what, sound);
    }

    fn go_beyond(&mut self, what: &str, sound: &mut Vec<u8>) {
        self.lie = Some(what.to_owned());
        self.state = State::Beyond;
        sound.append(&mut self.held);
        self.held = Vec::new();
    }

    /// What the held bytes are so far.
    fn row(&mut self) -> Row {
        loop {
            let Some(rest) = self.held.get(self.next..) else {
                // Some writers leave the last byte away that would make the length even.
                return if self.next == self.held.len() + 1 { Row::Whole } else { Row::Open };
            };
            let tag = &rest[..rest.len().min(4)];
            if !tag.iter().all(|byte| (0x20..0x7F).contains(byte)) {
                return Row::No;
            }
            let Some(size) = rest.get(4..8).and_then(|four| four.try_into().ok()).map(u32::from_le_bytes)
            else {
                return if rest.is_empty() { Row::Whole } else { Row::Open };
            };
            if size as usize > MOST_HELD {
                return Row::No;
            }
            self.next += 8 + size as usize + (size as usize & 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is sound, fed `step` bytes at a time, and the lie that was told.
    fn sifted(promised: u32, bytes: &[u8], step: usize) -> (Vec<u8>, Option<String>) {
        let (mut body, mut sound) = (Body::wav(promised), Vec::new());
        bytes.chunks(step).for_each(|piece| body.feed(piece, &mut sound));
        body.end(&mut sound);
        (sound, body.lie())
    }

    #[test]
    fn chunks_behind_the_promised_end_are_no_sound_and_samples_are() {
        let list = b"LIST\x04\0\0\0INFO";
        let odd = b"note\x01\0\0\0x";
        let cases: [(u32, &[&[u8]], usize, &str); 10] = [
            (4, &[b"abcd"], 4, ""),
            (4, &[b"abcd", list], 4, ""),
            (4, &[b"abcd", list, odd, b"\0", list], 4, ""),
            // A last byte that is missing, and one that makes the samples even.
            (4, &[b"abcd", list, odd], 4, ""),
            (3, &[b"abc\0", list], 3, ""),
            (3, &[b"abc\0"], 3, ""),
            (4, &[b"abcd", b"\x01\x02"], 6, "promises 4 bytes of samples, and more come"),
            (4, &[b"abcd", list, b"\xff\xff"], 18, "more come"),
            (4, &[b"abcd", b"LIST\x05\0\0\0INF"], 15, "more come"),
            (9, &[b"abcd"], 4, "promises 9 bytes of samples, and 4 have come"),
        ];
        for (promised, pieces, wanted, lie) in cases {
            let bytes = pieces.concat();
            for step in 1..=bytes.len() {
                let (sound, told) = sifted(promised, &bytes, step);
                assert_eq!(sound, bytes[..wanted], "{bytes:?} by {step}");
                assert!(told.clone().unwrap_or_default().contains(lie), "{bytes:?}: {told:?}");
                assert_eq!(told.is_none(), lie.is_empty(), "{bytes:?}: {told:?}");
            }
        }
        assert_eq!(sifted(0, b"", 1), (vec![], None));
        assert_eq!(sifted(0, list, 3), (vec![], None));
        assert!(sifted(0, b"\x01\x02", 1).1.unwrap().contains("empty"));
        assert!(sifted(u32::MAX, list, 5).1.unwrap().contains("does not know"));
    }

    #[test]
    fn what_is_too_long_for_a_chunk_is_not_held() {
        let mut bytes = b"data\x00\x00\x0f\x00".to_vec();
        bytes.resize(MOST_HELD + 9, 0);
        let (mut body, mut sound) = (Body::wav(0), Vec::new());
        body.feed(&bytes, &mut sound);
        assert_eq!(sound.len(), bytes.len());
        let (sound, _) = sifted(0, b"data\x00\x00\xff\x00abcd", 1);
        assert_eq!(sound.len(), 12);
    }
}
