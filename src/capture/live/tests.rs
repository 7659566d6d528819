//! Streams of every kind: what comes out is what went in, however it comes.

use super::*;
use crate::capture::{Coding, ReturnFile, Source};
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::fs::OpenOptions;
use std::io::{Read, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

const PATIENCE: Duration = Duration::from_secs(20);

/// Hands out bytes in pieces of the lengths of `cuts` by turns.
struct Cut {
    bytes: Vec<u8>,
    at: usize,
    cuts: Vec<usize>,
    turn: usize,
    taken: Arc<AtomicUsize>,
}

impl Cut {
    fn new(bytes: &[u8], cuts: &[usize]) -> Self {
        let taken = Arc::default();
        Self { bytes: bytes.to_vec(), at: 0, cuts: cuts.to_vec(), turn: 0, taken }
    }
}

impl Read for Cut {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let cut = self.cuts.get(self.turn % self.cuts.len().max(1)).copied().unwrap_or(usize::MAX);
        self.turn += 1;
        let got = cut.max(1).min(buffer.len()).min(self.bytes.len() - self.at);
        buffer[..got].copy_from_slice(&self.bytes[self.at..self.at + got]);
        self.at += got;
        self.taken.fetch_add(got, Ordering::Relaxed);
        Ok(got)
    }
}

/// All that comes until the end.
#[derive(Debug, Default, PartialEq)]
struct All {
    sides: [Vec<f64>; 2],
    troubles: Vec<Trouble>,
}

fn all(stream: &mut LiveStream) -> All {
    let mut all = All::default();
    loop {
        match stream.next(PATIENCE).expect("something comes") {
            Arrival::Block(block) => {
                assert!(block[0].len() <= (stream.format.rate_hz * 0.02) as usize, "{}", block[0].len());
                assert_eq!(block[0].len(), block[1].len());
                all.sides.iter_mut().zip(&block).for_each(|(all, side)| all.extend(side));
                stream.give_back(block);
            }
            // The machine may be busy.
            Arrival::Trouble(Trouble::Stopped | Trouble::GoesOn { .. }) => {}
            Arrival::Trouble(trouble) => all.troubles.push(trouble),
            Arrival::End => return all,
        }
    }
}

/// Takes so many frames and stops there.
fn some(stream: &mut LiveStream, frames: usize) -> All {
    let mut some = All::default();
    while some.sides[0].len() < frames {
        match stream.next(PATIENCE).expect("something comes") {
            Arrival::Block(block) => {
                some.sides.iter_mut().zip(&block).for_each(|(all, side)| all.extend(side));
            }
            // The machine may be busy.
            Arrival::Trouble(Trouble::Stopped | Trouble::GoesOn { .. }) => {}
            Arrival::Trouble(trouble) => some.troubles.push(trouble),
            Arrival::End => panic!("the end after {} frames", some.sides[0].len()),
        }
    }
    some
}

/// A WAV of 48 kHz whose header promises `promised` bytes, then `data`.
fn wav(coding: Coding, channels: u16, promised: u32, data: &[u8]) -> Vec<u8> {
    let tag: u16 = if matches!(coding, Coding::Float32 | Coding::Float64) { 3 } else { 1 };
    let align = channels * coding.bytes() as u16;
    let mut b = b"RIFF\xff\xff\xff\xffWAVEJUNK\x03\0\0\0abc\0fmt \x10\0\0\0".to_vec();
    b.extend([tag, channels].map(u16::to_le_bytes).concat());
    b.extend([48_000, 48_000 * u32::from(align)].map(u32::to_le_bytes).concat());
    b.extend([align, 8 * coding.bytes() as u16].map(u16::to_le_bytes).concat());
    b.extend(b"data");
    b.extend(promised.to_le_bytes());
    b.extend(data);
    b
}

/// Bytes of no pattern.
fn noise(bytes: usize) -> Vec<u8> {
    let mut state = 1u32;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    (0..bytes).map(|_| next()).collect()
}

fn stream(bytes: &[u8], cuts: &[usize]) -> Result<LiveStream, String> {
    LiveStream::reader("a pipe", Box::new(Cut::new(bytes, cuts)), None, None)
        .map_err(|error| error.to_string())
}

#[test]
fn every_coding_gives_the_samples_of_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    for coding in
        [Coding::Int8, Coding::Int16, Coding::Int24, Coding::Int32, Coding::Float32, Coding::Float64]
    {
        for channels in [1, 2] {
            // Floating-point samples of such bytes would be too large.
            let mut data = noise(3000 * coding.bytes() * usize::from(channels));
            if matches!(coding, Coding::Float32 | Coding::Float64) {
                data.chunks_exact_mut(coding.bytes()).for_each(|s| s[coding.bytes() - 1] = 0x3F);
            }
            let bytes = wav(coding, channels, data.len() as u32, &data);
            std::fs::write(&path, &bytes).unwrap();
            let mut wanted: [Vec<f64>; 2] = Default::default();
            ReturnFile::open(&path, None)
                .unwrap()
                .read(0, u64::MAX, &mut |block| {
                    wanted.iter_mut().zip(block).for_each(|(all, side)| all.extend(side))
                })
                .unwrap();
            assert_eq!(wanted[0].len(), 3000);
            let mut piped = stream(&bytes, &[1, 7, 4096]).unwrap();
            let mono = if channels == 1 { "mono, on both sides" } else { "stereo" };
            assert_eq!(piped.format.words, format!("WAV, 48000 Hz, {}, {mono}", coding.depth()));
            assert_eq!(piped.format.channels, usize::from(channels));
            let mut finished = LiveStream::finished(&path, None, Pace::Fast, None).unwrap();
            let raw = Some(RawFormat { rate_hz: 48_000, channels, coding });
            let mut raw = LiveStream::reader("raw", Box::new(Cut::new(&data, &[5])), raw, None).unwrap();
            for stream in [&mut piped, &mut finished, &mut raw] {
                let all = all(stream);
                assert!(all.sides == wanted, "{} {}", coding.word(), stream.format.words);
                assert_eq!(all.troubles, []);
                // The end stays.
                assert_eq!(stream.next(Duration::ZERO), Some(Arrival::End));
            }
        }
    }
}

#[test]
fn two_channels_of_more_are_chosen() {
    let bytes = wav(Coding::Int16, 3, 12, &[0, 64, 0, 32, 0, 16, 0, 0, 0, 0, 0, 0]);
    let open = |choice| LiveStream::reader("a pipe", Box::new(Cut::new(&bytes, &[])), None, choice);
    assert_eq!(all(&mut open(Some([2, 0])).unwrap()).sides, [[0.125, 0.0], [0.5, 0.0]]);
    let refused = |choice| open(choice).err().unwrap().to_string();
    assert_eq!(refused(None), "a pipe: has 3 channels, a return has two; say which two");
    assert!(refused(Some([0, 3])).contains("channel 4 was asked for"));
}

#[test]
fn a_header_that_lies_is_told_once_and_the_sound_survives() {
    let data = noise(4000);
    for (promised, word) in
        [(0, "empty"), (u32::MAX, "does not know"), (400, "more come"), (9000, "4000 have come")]
    {
        let all = all(&mut stream(&wav(Coding::Int16, 2, promised, &data), &[999]).unwrap());
        assert_eq!(all.sides[0].len(), 1000, "{promised}");
        let [Trouble::HeaderLies { what }] = &all.troubles[..] else { panic!("{:?}", all.troubles) };
        assert!(what.contains(word), "{what}");
    }
    let mut listed = wav(Coding::Int16, 2, 4000, &data);
    listed.extend(b"LIST\x04\0\0\0INFO");
    assert_eq!(all(&mut stream(&listed, &[]).unwrap()).sides[0].len(), 1000);
}

#[test]
fn what_is_no_wav_is_refused_in_one_line() {
    for (bytes, words) in [
        (&b""[..], "a pipe: holds no samples"),
        (b"fLaC\0\0\0\x22aaaaaaaa", "a pipe: is FLAC; what comes live is WAV"),
        (b"FORM\0\0\0\0AIFFCOMM", "a pipe: is AIFF; what comes live is WAV"),
        (b"RF64\xff\xff\xff\xffWAVE", "a pipe: is a 64-bit WAV (RF64), which is not read"),
        (b"RIFF", "a pipe: is a RIFF file without"),
        (b"OggS\0\x02\0\0\0\0\0\0\0", "a pipe: is an Ogg file"),
        (b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0", "a pipe: WAV header ends at byte 12 without samples"),
        (b"RIFF\0\0\0\0WAVEdata\0\0\0\0", "a pipe: WAV has no format chunk before its samples"),
    ] {
        let error = stream(bytes, &[3]).err().unwrap();
        assert!(error.starts_with(words) && !error.contains('\n'), "{error}");
    }
    // No samples behind a sound header are no error: they may have come.
    let all = all(&mut stream(&wav(Coding::Int16, 2, 0, &[]), &[]).unwrap());
    assert_eq!(all, All::default());
    // A header without end is not read to its end.
    let mut endless = wav(Coding::Int16, 2, 0, &[])[..12].to_vec();
    endless.extend(b"JUNK\xff\xff\xff\x7f");
    endless.resize(3 << 20, 0);
    assert!(stream(&endless, &[]).err().unwrap().contains("without samples"));
    let folder = tempfile::tempdir().unwrap();
    for open in
        [LiveStream::growing, |path: &Path, raw, choice| LiveStream::finished(path, raw, Pace::Fast, choice)]
    {
        assert!(open(folder.path(), None, None).err().unwrap().to_string().contains("is a folder"));
        assert!(open(Path::new("none"), None, None).err().unwrap().to_string().starts_with("none: cannot"));
    }
}

#[test]
fn broken_samples_count_as_silence() {
    let values = [0.5f32, f32::NAN, f32::INFINITY, 1000.5, -0.25, 1000.0];
    let data: Vec<u8> = values.iter().flat_map(|x| x.to_le_bytes()).collect();
    let all = all(&mut stream(&wav(Coding::Float32, 2, 24, &data), &[]).unwrap());
    assert_eq!(all.sides, [[0.5, 0.0, -0.25], [0.0, 0.0, 1000.0]]);
    assert_eq!(all.troubles, [Trouble::Broken { samples: 3 }]);
    // Told at once, then once a second, and in sum all of them.
    let mut pipe = stream(&wav(Coding::Float32, 1, u32::MAX, &[0xFF; 4 * 120_000]), &[]).unwrap();
    let told: Vec<u64> = self::all(&mut pipe)
        .troubles
        .iter()
        .filter_map(|trouble| match trouble {
            Trouble::Broken { samples } => Some(*samples),
            _ => None,
        })
        .collect();
    assert_eq!(told.iter().sum::<u64>(), 240_000);
    assert_eq!(told.len(), 4);
}

/// Bytes that were taken once the reader takes no more.
fn filled(taken: &AtomicUsize) -> usize {
    let mut before = 0;
    loop {
        std::thread::sleep(Duration::from_millis(200));
        let now = taken.load(Ordering::Relaxed);
        if now == before && now > 1_000_000 {
            return now;
        }
        before = now;
    }
}

#[test]
fn a_slow_listener_loses_nothing_and_the_reader_waits() {
    // 20 s of sound; the queue holds 10.
    let data = noise(20 * 48_000 * 4);
    let input = Cut::new(&wav(Coding::Int16, 2, u32::MAX, &data), &[]);
    let taken = Arc::clone(&input.taken);
    let mut stream = LiveStream::reader("a pipe", Box::new(input), None, None).unwrap();
    let waiting = filled(&taken);
    assert!(waiting > 9 * 192_000 && waiting < 11 * 192_000, "{waiting}");
    let all = all(&mut stream);
    assert_eq!(all.sides[0].len(), 20 * 48_000);
    assert_eq!(
        all.sides[1].last(),
        Some(&(f64::from(i16::from_le_bytes([data[data.len() - 2], data[data.len() - 1]])) / 32_768.0))
    );
}

#[test]
fn blocks_that_are_given_back_are_used_again() {
    let input = Cut::new(&wav(Coding::Int24, 2, u32::MAX, &noise(30 * 48_000 * 6)), &[100, 5000]);
    let taken = Arc::clone(&input.taken);
    let mut stream = LiveStream::reader("a pipe", Box::new(input), None, None).unwrap();
    // The most that ever waits is in use after that.
    filled(&taken);
    let (mut places, mut late) = (BTreeSet::new(), 0);
    let mut frames = 0;
    loop {
        match stream.next(PATIENCE).unwrap() {
            Arrival::Block(block) => {
                frames += block[0].len();
                for side in &block {
                    let fresh = places.insert(side.as_ptr() as usize);
                    late += usize::from(fresh && frames > 11 * 48_000);
                    assert_eq!(side.capacity(), 960);
                }
                stream.give_back(block);
            }
            Arrival::End => break,
            Arrival::Trouble(_) => {}
        }
    }
    assert_eq!((frames, late), (30 * 48_000, 0));
}

/// What is sent to it, piece by piece.
struct Sent(std::sync::mpsc::Receiver<Vec<u8>>);

impl Read for Sent {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let piece = self.0.recv().unwrap_or_default();
        buffer[..piece.len()].copy_from_slice(&piece);
        Ok(piece.len())
    }
}

#[test]
fn a_stop_is_told_once_and_so_is_its_end() {
    let (send, sent) = std::sync::mpsc::channel();
    send.send(wav(Coding::Int16, 2, 800, &[1; 400])).unwrap();
    let mut stream = LiveStream::reader("a pipe", Box::new(Sent(sent)), None, None).unwrap();
    some(&mut stream, 100);
    let began = Instant::now();
    while stream.next(Duration::from_millis(10)).is_none() {}
    assert!(began.elapsed() > Duration::from_millis(400));
    // It was told, and is not told again.
    assert_eq!(stream.next(Duration::from_millis(700)), None);
    send.send(vec![1; 400]).unwrap();
    let Some(Arrival::Trouble(Trouble::GoesOn { after_s })) = stream.next(PATIENCE) else { panic!() };
    assert!(after_s > 1.1, "{after_s}");
    assert!(matches!(stream.next(PATIENCE), Some(Arrival::Block(block)) if block[0].len() == 100));
    drop(send);
    assert_eq!(all(&mut stream), All::default());
}

#[test]
fn a_finished_file_comes_at_the_speed_of_the_tape() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    std::fs::write(&path, wav(Coding::Int16, 2, 96_000, &noise(96_000))).unwrap();
    let began = Instant::now();
    let mut stream = LiveStream::finished(&path, None, Pace::Real, None).unwrap();
    let half = some(&mut stream, 12_000).sides[0].len();
    let half_s = began.elapsed().as_secs_f64();
    assert_eq!(half + all(&mut stream).sides[0].len(), 24_000);
    let whole_s = began.elapsed().as_secs_f64();
    assert!(half_s >= 0.25 && whole_s >= 0.5, "{half_s} {whole_s}");
}

#[test]
fn a_file_that_grows_is_followed_frame_by_frame() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    let data = noise(4000);
    let bytes = wav(Coding::Int16, 2, 0, &data);
    let header = bytes.len() - 4000;
    // The header comes in two pieces, the second while the stream is opened; a frame is cut in the middle.
    std::fs::write(&path, &bytes[..20]).unwrap();
    let append = {
        let path = path.clone();
        move |bytes: &[u8]| OpenOptions::new().append(true).open(&path).unwrap().write_all(bytes).unwrap()
    };
    let opener = {
        let path = path.clone();
        std::thread::spawn(move || LiveStream::growing(&path, None, None).unwrap())
    };
    std::thread::sleep(Duration::from_millis(60));
    append(&bytes[20..header + 1002]);
    let mut stream = opener.join().unwrap();
    assert_eq!(some(&mut stream, 250).sides[0].len(), 250);
    let next = stream.next(Duration::from_millis(60));
    assert!(matches!(next, None | Some(Arrival::Trouble(Trouble::Stopped))), "{next:?}");
    append(&bytes[header + 1002..]);
    let rest = some(&mut stream, 750);
    assert_eq!(rest.troubles, []);
    let frame = |at: usize| f64::from(i16::from_le_bytes([data[4 * at], data[4 * at + 1]])) / 32_768.0;
    assert_eq!((rest.sides[0][0], rest.sides[0][749]), (frame(250), frame(999)));
    // The recorder ends: it writes the length and appends its name, which is no sound.
    let mut file = OpenOptions::new().write(true).open(&path).unwrap();
    std::io::Seek::seek(&mut file, std::io::SeekFrom::Start(header as u64 - 4)).unwrap();
    file.write_all(&4000u32.to_le_bytes()).unwrap();
    append(b"LIST\x04\0\0\0INFO");
    let until = Instant::now() + Duration::from_millis(200);
    while Instant::now() < until {
        let next = stream.next(Duration::from_millis(50));
        assert!(matches!(next, None | Some(Arrival::Trouble(Trouble::Stopped))), "{next:?}");
    }
}

#[test]
fn a_file_that_is_cut_or_replaced_is_told_and_read_again() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.wav");
    std::fs::write(&path, wav(Coding::Int16, 2, 0, &noise(4000))).unwrap();
    let mut stream = LiveStream::growing(&path, None, None).unwrap();
    some(&mut stream, 1000);
    std::fs::write(&path, wav(Coding::Int16, 2, 0, &noise(400))).unwrap();
    let cut = some(&mut stream, 100);
    assert_eq!(cut.sides[0].len(), 100);
    let told = "was cut; it is read from its start again";
    assert_eq!(cut.troubles, [Trouble::Replaced { what: told.into() }]);
    let beside = folder.path().join("b.wav");
    std::fs::write(&beside, wav(Coding::Int16, 2, 0, &noise(800))).unwrap();
    std::fs::rename(&beside, &path).unwrap();
    let replaced = some(&mut stream, 200);
    assert!(
        matches!(&replaced.troubles[..], [Trouble::Replaced { what }] if what.starts_with("was replaced;"))
    );
    std::fs::write(&beside, wav(Coding::Int24, 2, 0, &noise(800))).unwrap();
    std::fs::rename(&beside, &path).unwrap();
    let other = all(&mut stream);
    assert!(other.sides[0].is_empty());
    let [Trouble::Replaced { what }] = &other.troubles[..] else { panic!("{:?}", other.troubles) };
    assert!(what.contains("holds something else now (WAV, 48000 Hz, 24 bit, stereo)"), "{what}");
}

#[test]
fn a_raw_file_that_grows_needs_no_header() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.raw");
    std::fs::write(&path, b"").unwrap();
    let raw = Some(RawFormat { rate_hz: 44_100, channels: 1, coding: Coding::Int16 });
    let mut stream = LiveStream::growing(&path, raw, None).unwrap();
    assert_eq!(stream.format.words, "raw samples, 44100 Hz, 16 bit, mono, on both sides");
    std::fs::write(&path, [0, 0x40, 0, 0x80]).unwrap();
    assert_eq!(some(&mut stream, 2).sides, [[0.5, -1.0], [0.5, -1.0]]);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(128) })]

    /// Any bytes end in samples or in words, the same for every cut.
    #[test]
    fn any_cut_of_any_bytes_gives_the_same(
        head in proptest::bool::weighted(0.8),
        keep in 0usize..80,
        coding in 0usize..6,
        channels in 0u16..4,
        promised in prop_oneof![0u32..300, Just(u32::MAX), any::<u32>()],
        tail in proptest::collection::vec(any::<u8>(), 0..400),
        chunk in proptest::bool::weighted(0.3),
        cuts in proptest::collection::vec(1usize..200, 1..6),
    ) {
        let codings = [Coding::Int8, Coding::Int16, Coding::Int24, Coding::Int32, Coding::Float32, Coding::Float64];
        let mut bytes = if head { wav(codings[coding], channels, promised, &tail) } else { tail.clone() };
        if keep < 60 && keep % 3 == 0 {
            bytes.truncate(keep);
            bytes.extend(&tail);
        }
        if chunk {
            bytes.extend(b"LIST\x04\0\0\0INFO");
        }
        let read = |cuts: &[usize]| stream(&bytes, cuts).map(|mut stream| (stream.format.clone(), all(&mut stream)));
        let (whole, cut) = (read(&[]), read(&cuts));
        match (whole, cut) {
            (Ok((format, whole)), Ok((cut_format, cut))) => {
                prop_assert_eq!(format, cut_format);
                prop_assert!(whole.sides.iter().flatten().all(|x| x.abs() <= 1000.0), "a sample that is none");
                prop_assert_eq!(whole.sides, cut.sides);
                let lies = |all: &[Trouble]| all.iter().any(|trouble| matches!(trouble, Trouble::HeaderLies { .. }));
                prop_assert_eq!(lies(&whole.troubles), lies(&cut.troubles));
            }
            (Err(whole), Err(cut)) => prop_assert!(whole.starts_with("a pipe: ") && cut.starts_with("a pipe: ")),
            (whole, cut) => prop_assert!(false, "{:?} {:?}", whole, cut),
        }
    }
}
