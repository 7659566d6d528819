use crate::bench::{Case, Store, options, play_behind};
use crate::short;
use deckproof::deck::DeckFile;
use deckproof::reading::RecordedOn;
#[test]
fn zz() {
    for rate_hz in [48_000, 96_000] {
        for lp in [12000, 15000, 17000, 19000, 22000, 26000] {
            for second in [0, 1] {
                let mut text = format!(
                    "[speed]\nerror_percent = 0\nflutter = [{{ hz = 2.3, percent_peak = 0.1 }}]\n[tape]\nhiss = {{ db = -52 }}\n[azimuth]\nangle_arcmin = 1.67\n[replay]\nsections = [{{ kind = \"low-pass1\", hz = {lp}, channel = \"right\" }}"
                );
                if second == 1 {
                    text += ", { kind = \"high-pass1\", hz = 14, channel = \"left\" }, { kind = \"high-pass1\", hz = 9, channel = \"right\" }";
                }
                text += "]\n";
                let case = Case {
                    name: "x",
                    deck: DeckFile::from_toml(&text, "x").unwrap(),
                    seed: 5,
                    rate_hz,
                    store: Store::Float,
                };
                let mut told = options(RecordedOn::Calibrated);
                told.recipe = Some(short());
                let r = play_behind(&short(), &case, &DeckFile::default(), &told);
                let a = r.azimuth.unwrap();
                println!("{rate_hz} lp {lp} hp {second}: {:?} +- {:?}", a.delay_us, a.uncertainty_us);
            }
        }
    }
}
