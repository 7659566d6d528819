//! Reading against decoding, writing against copying.

mod returns;

use criterion::{BatchSize, Criterion, Throughput, criterion_group, criterion_main};
use deckproof::capture::{ReturnFile, Source};
use deckproof::job::{WriteOptions, read_return, write_programme};
use deckproof::programme::{Depth, Overwrite, built_in_by_name};
use std::io::Write;
use std::time::Duration;

/// What a whole reading costs beside the least that any reader must do: decode the file.
fn read(criterion: &mut Criterion) {
    let folder = tempfile::tempdir().expect("folder");
    let recipe = built_in_by_name("first-look").expect("built in");
    let path = returns::make(&recipe, folder.path());
    let frames = ReturnFile::open(&path, None).expect("opened").frames();
    let mut group = criterion.benchmark_group(format!("read: {} s 48 kHz 24 bit stereo", frames / 48_000));
    group.sample_size(20).measurement_time(Duration::from_secs(8)).throughput(Throughput::Elements(frames));
    group.bench_function("bare decode to f64 (the reader's own)", |bencher| {
        bencher.iter(|| returns::decode(&path));
    });
    group.bench_function("bare decode to f64 (hound, sample by sample)", |bencher| {
        bencher.iter(|| returns::decode_by_samples(&path));
    });
    let options = returns::options(None);
    group.bench_function("read_return", |bencher| {
        bencher.iter(|| read_return(&path, &options).expect("read"));
    });
    group.finish();
}

/// What writing a programme costs beside putting the same bytes on the disk, synced and renamed likewise.
fn write(criterion: &mut Criterion) {
    let folder = tempfile::tempdir().expect("folder");
    let recipe = built_in_by_name("full").expect("built in");
    let options = WriteOptions {
        rate_hz: 44_100,
        depth: Depth::Sixteen,
        overwrite: Overwrite::Force,
        ..Default::default()
    };
    let path = folder.path().join("programme.wav");
    let seconds = write_programme(&recipe, &path, &options).expect("written").length_s;
    let bytes = std::fs::read(&path).expect("bytes");
    let mut group = criterion.benchmark_group(format!("write: {seconds:.0} s 44.1 kHz 16 bit stereo"));
    group
        .sample_size(10)
        .measurement_time(Duration::from_secs(8))
        .throughput(Throughput::Bytes(bytes.len() as u64));
    group.bench_function("plain copy of the same bytes", |bencher| {
        bencher.iter_batched(
            || (),
            |()| {
                let mut file = tempfile::NamedTempFile::new_in(folder.path()).expect("file");
                file.write_all(&bytes).expect("written");
                file.as_file().sync_all().expect("synced");
                file.persist(folder.path().join("copy.wav")).expect("renamed")
            },
            BatchSize::PerIteration,
        );
    });
    group.bench_function("write_programme", |bencher| {
        bencher.iter_batched(
            || (),
            |()| write_programme(&recipe, &path, &options).expect("written"),
            BatchSize::PerIteration,
        );
    });
    group.finish();
}

criterion_group!(whole_job, read, write);
criterion_main!(whole_job);
