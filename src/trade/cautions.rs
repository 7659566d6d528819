//! What can hurt somebody at this work. Common practice, no source.

/// What test tones can do. Common practice, no source.
pub const TEST_TONES: &str = "Test tones at line level can destroy tweeters and hearing: speakers off, headphones off your ears, \
     volume down first.";

/// The cautions, each a full sentence or two, in the order of weight.
pub const CAUTIONS: [&str; 4] = [
    "An open deck on mains can kill and stores charge: use an isolating supply where you can, keep one hand away, \
     follow local codes, and leave mains work to licensed people where the law says so.",
    TEST_TONES,
    "Mind rotating parts: hair, sleeves and tools away from capstans, belts and reels while the deck runs.",
    "Demagnetise with the power off and the tape away.",
];

/// What holds for every step of the work; stands once above it. Common practice, no source.
pub const BEFORE_TURNING: &str = "Before you turn: note where each trimmer stands, and warm the deck up. The deck is open and on \
     mains: isolating supply, insulated tool, one hand away, local codes. Clean, demagnetise and mend with the power off.";

/// What is added where trimmers are turned in a deck that runs. Common practice, no source.
pub const TRIMMER_CAUTIONS: [&str; 3] = [
    "Trimmers are turned with the deck open and on mains: isolating supply, one hand away, insulated tools only, no \
     rings or chains; know where the mains side and the supply capacitors are before reaching in; follow local codes.",
    "Turn only what the service manual names for this job, note its place first, and know where to go back to.",
    "Stay clear of the moving reels, belts and flywheels while you reach in.",
];

/// What is added where a signal is fed into an open deck that runs. Common practice, no source.
pub const INJECTION_CAUTIONS: [&str; 4] = [
    "The signal goes into an open deck on mains: connect and disconnect only with the mains plug pulled and the supply \
     capacitors discharged; then isolating supply, one hand away; follow local codes.",
    "Feed through a capacitor: DC through a head magnetises it, and more than a few milliamperes may burn it. \
     Demagnetise the head afterwards (power off, tape away).",
    "A player and a PC on mains make a ground loop through the deck, and with a deck whose chassis is live it is dangerous: \
     feed from a player on batteries, or through an isolating audio transformer.",
    "Speakers and headphones off: a head amplifier that is touched or oscillates is loud without warning.",
];
