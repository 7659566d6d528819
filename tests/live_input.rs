//! Finished files as live input: what comes is what `read` gets of them.

use crate::command_line::containers;
use deckproof::internals::capture::live::{Arrival, LiveStream, Pace, Trouble};
use std::time::{Duration, Instant};

fn all(stream: &mut LiveStream) -> ([Vec<f64>; 2], Vec<Trouble>) {
    let (mut sides, mut troubles) = ([Vec::new(), Vec::new()], Vec::new());
    loop {
        match stream.next(Duration::from_secs(20)).expect("something comes") {
            Arrival::Block(block) => {
                assert!(block[0].len() <= 960, "{}", block[0].len());
                sides.iter_mut().zip(&block).for_each(|(all, side)| all.extend(side));
                stream.give_back(block);
            }
            Arrival::Trouble(trouble) => troubles.push(trouble),
            Arrival::End => return (sides, troubles),
        }
    }
}

#[test]
fn flac_and_aiff_come_as_they_are_and_at_the_speed_of_the_tape() {
    let folder = tempfile::tempdir().unwrap();
    let frames: Vec<[f64; 2]> = (0..12_000i32)
        .map(|k| [f64::from(k - 6000) / 32_768.0, f64::from((k * 7919) % 30_000) / 32_768.0])
        .collect();
    let wanted = [0, 1].map(|side| frames.iter().map(|frame| frame[side]).collect::<Vec<_>>());
    for (name, bytes) in [("FLAC", containers::flac(&frames)), ("AIFF", containers::aiff(&frames))] {
        let path = folder.path().join(name);
        std::fs::write(&path, &bytes).unwrap();
        for pace in [Pace::Fast, Pace::Real] {
            let began = Instant::now();
            let mut stream = LiveStream::finished(&path, None, pace, None).unwrap();
            assert_eq!(stream.format.words, format!("{name}, 48000 Hz, 16 bit, stereo"));
            let (sides, troubles) = all(&mut stream);
            assert!(sides == wanted && troubles.is_empty(), "{name}: {troubles:?}");
            let took_s = began.elapsed().as_secs_f64();
            assert!(pace == Pace::Fast || took_s >= 0.25, "{name} {pace:?}: {took_s} s");
        }
        let mut swapped = LiveStream::finished(&path, None, Pace::Fast, Some([1, 0])).unwrap();
        assert!(all(&mut swapped).0[0] == wanted[1]);
    }
    // An AIFF whose header promises more than there is.
    let path = folder.path().join("cut.aiff");
    std::fs::write(&path, &containers::aiff(&frames)[..10_054]).unwrap();
    let (sides, troubles) = all(&mut LiveStream::finished(&path, None, Pace::Fast, None).unwrap());
    assert_eq!(sides[0][..], wanted[0][..2500]);
    assert!(matches!(&troubles[..], [Trouble::HeaderLies { what }] if what.contains("than the file has")));
}
