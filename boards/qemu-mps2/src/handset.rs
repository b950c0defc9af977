//! The whole handset on the same walk: queue, instrument, field book, screen.

use nullwalk_core::frame::MastReading;
use nullwalk_core::locate::{Settings, Sound};
use nullwalk_core::record::{Kind, MAX_RECORD_BYTES, Record, Reset, encode};
use nullwalk_core::verdict::{Fix, Judgement, Verdict};
use nullwalk_core::words;
use nullwalk_drivers::battery::Charge;
use nullwalk_drivers::buttons::Press;
use nullwalk_drivers::converter::{Faults, Sample};
use nullwalk_handset::app::{App, Board};
use nullwalk_handset::book::{Book, Unkept};
use nullwalk_handset::duties::Watchdog;
use nullwalk_handset::intake::{Inlet, Packets};
use nullwalk_handset::menu::Key;
use nullwalk_handset::screen::{Canvas, draw};
use nullwalk_handset::selftest::Report;
use nullwalk_handset::view::{Page, View};
use nullwalk_handset::{Fitting, Handset};

use crate::samples::{CHANNELS, RATE_HZ, TONE_HZ};
use crate::walk::{self, BLOCK, BLOCKS, Stroll};
use crate::{Meter, Plan, Work, say};

/// Frames of a packet, 5 ms, and packets in the queue: 75 ms.
const FRAMES: usize = 40;
const DEPTH: usize = 16;
type Queue = Packets<CHANNELS, FRAMES, DEPTH>;
/// A small display, and a larger one.
type Small = Canvas<16, 64>;
type Large = Canvas<32, 128>;

const TICKS_PER_SAMPLE: u64 = 125;
/// The station is marked so long before the end, blocks.
const MARK_BEFORE_END: u32 = 25;

/// A queue for one handset, for ever: as many as handsets are ever started here.
#[cfg(target_os = "none")]
fn queue() -> &'static mut Queue {
    use core::sync::atomic::{AtomicUsize, Ordering};
    const HANDSETS: usize = 14;
    static mut QUEUES: [Queue; HANDSETS] = [const { Queue::new() }; HANDSETS];
    static NEXT: AtomicUsize = AtomicUsize::new(0);
    let next = NEXT.load(Ordering::Relaxed);
    NEXT.store(next + 1, Ordering::Relaxed);
    assert!(next < HANDSETS, "a queue for each handset");
    // SAFETY: there is one thread and no interrupt, so each queue is handed out once.
    unsafe { &mut *(&raw mut QUEUES).cast::<Queue>().add(next) }
}

#[cfg(not(target_os = "none"))]
fn queue() -> &'static mut Queue {
    Box::leak(Box::default())
}

/// Everything but the handset.
struct Bench {
    now_ms: u32,
    /// A reading, and the sample at which it holds.
    mast: Option<(u64, MastReading)>,
    press: Option<Press>,
    rung: u8,
    canvas: Small,
    meals: u32,
    screens: u32,
    book: HashedBook,
}

/// Encodes every record, as storage does, and keeps a hash of the bytes.
struct HashedBook {
    room: [u8; MAX_RECORD_BYTES],
    hash: u32,
    sequence: u32,
    kinds: [u32; Kind::ALL.len()],
    fixes: heapless::Vec<Fix, 4>,
}

impl Book for HashedBook {
    fn append(&mut self, record: &Record) -> Result<(), Unkept> {
        let written = encode(record, self.sequence, &mut self.room).map_err(|_| Unkept::Failed)?;
        // Fowler-Noll-Vo, FNV-1a.
        self.hash = written
            .iter()
            .fold(self.hash, |hash, byte| (hash ^ u32::from(*byte)).wrapping_mul(0x0100_0193));
        self.sequence += 1;
        self.kinds[usize::from(record.kind().code()) - 1] += 1;
        let fix = match record {
            Record::Fix(fix) => Some(fix),
            Record::Station(station) => station.found.as_ref().ok(),
            _ => None,
        };
        if let Some(fix) = fix {
            // What is left out would be told on the host as well.
            let _ = self.fixes.push(fix.clone());
        }
        Ok(())
    }

    fn close(&mut self) -> Result<(), Unkept> {
        Ok(())
    }
}

impl Watchdog for Bench {
    fn feed(&mut self) {
        self.meals += 1;
    }
}

impl Board for Bench {
    type Display = Small;
    type Book = HashedBook;

    fn now_ms(&mut self) -> u32 {
        self.now_ms
    }

    fn presses(&mut self) -> [Option<Press>; Key::ALL.len()] {
        [None, None, self.press.take(), None, None]
    }

    fn mast(&mut self, at: u64) -> Option<MastReading> {
        self.mast.take_if(|(since, _)| *since <= at).map(|(_, reading)| reading)
    }

    fn utc_s(&mut self) -> Option<u64> {
        None
    }

    fn charge(&mut self) -> Charge {
        Charge::Full
    }

    fn set_rung(&mut self, rung: u8) {
        self.rung = rung;
    }

    fn play(&mut self, _: Sound) {}

    fn display(&mut self) -> &mut Small {
        &mut self.canvas
    }

    fn show(&mut self) {
        self.screens += 1;
    }

    fn book(&mut self) -> &mut HashedBook {
        &mut self.book
    }
}

/// A handset that is carried over the ground.
struct Carried {
    stroll: Stroll,
    inlet: Inlet<'static, CHANNELS, FRAMES>,
    app: App<'static, CHANNELS, FRAMES>,
    bench: Bench,
}

impl Carried {
    fn start() -> Self {
        let fitting = Fitting {
            rate_hz: RATE_HZ,
            ticks_hz: 1_000_000,
            tone_hz: TONE_HZ,
            ladder: walk::ladder(),
            array: walk::array(),
            settings: Settings::default(),
            build: Default::default(),
            calibration: Default::default(),
            reset: Reset::PowerOn,
            last_words: Default::default(),
        };
        let (producer, outlet) = queue().split();
        let book = HashedBook {
            room: [0; MAX_RECORD_BYTES],
            hash: 0x811c_9dc5,
            sequence: 0,
            kinds: [0; Kind::ALL.len()],
            fixes: heapless::Vec::new(),
        };
        let mut bench = Bench {
            now_ms: 0,
            mast: None,
            press: None,
            rung: 0,
            canvas: Small::new(),
            meals: 0,
            screens: 0,
            book,
        };
        let mut handset = Handset::new(fitting).expect("a fitting handset");
        handset.begin(&Report::default(), &mut bench.book);
        Self { stroll: Stroll::start(), inlet: Inlet::new(producer), app: App::new(handset, outlet), bench }
    }

    /// The interrupts of one block.
    fn sample(&mut self) {
        let first = self.stroll.first();
        for (index, counts) in (first..).zip(self.stroll.frames) {
            let sample = Sample { index, rung: self.stroll.rung, counts, faults: Faults::default() };
            self.inlet.push(&sample, (TICKS_PER_SAMPLE * index) as u32);
        }
    }

    /// The slow side's turn.
    fn turn(&mut self) {
        self.app.turn(&mut self.bench);
    }
}

impl Work for Carried {
    /// Hashes of all records so far and of the screen, and the rung that is asked for.
    type Outcome = [u32; 3];
    const STATE_BYTES: usize = size_of::<App<'static, CHANNELS, FRAMES>>()
        + size_of::<Queue>()
        + size_of::<Inlet<'static, CHANNELS, FRAMES>>()
        + size_of::<Small>();

    fn prepare(&mut self) {
        self.stroll.go_on(self.bench.rung);
        self.bench.now_ms += (BLOCK as f32 * 1000.0 / RATE_HZ) as u32;
        self.bench.mast = Some((self.stroll.first(), self.stroll.mast));
        self.bench.press = (self.stroll.blocks == BLOCKS - MARK_BEFORE_END).then_some(Press::Long);
    }

    fn step(&mut self, _: u32) -> [u32; 3] {
        self.sample();
        self.turn();
        let words = self
            .bench
            .canvas
            .rows()
            .as_flattened()
            .as_chunks()
            .0
            .iter()
            .map(|word| u32::from_le_bytes(*word));
        let screen = words.fold(0x811c_9dc5, |hash, word| (hash ^ word).wrapping_mul(0x0100_0193));
        [self.bench.book.hash, screen, u32::from(self.bench.rung)]
    }
}

/// The whole walk: a block of 6 channels costs so much, from the interrupt to book and screen. The queue has to outlast
/// the dearest turn.
const WHOLE: Plan = Plan {
    rounds: BLOCKS,
    steps: 1,
    units: BLOCKS * (BLOCK / FRAMES) as u32,
    cost: "instructions_per_block",
    dearest: false,
    at_most: Some("instructions_per_turn_at_most"),
};

/// One second of interrupts.
const INTERRUPT: Plan =
    Plan { rounds: 50, units: 50 * BLOCK as u32, cost: "instructions_per_sample", at_most: None, ..WHOLE };

/// The interrupt side alone.
struct Fast(Carried);

impl Work for Fast {
    type Outcome = u32;

    fn prepare(&mut self) {
        self.0.turn();
        self.0.prepare();
    }

    fn step(&mut self, _: u32) -> u32 {
        self.0.sample();
        self.0.stroll.blocks
    }
}

/// What a page costs to draw.
struct Drawn<C> {
    carried: Carried,
    canvas: C,
}

impl<C> Drawn<C> {
    /// Half way through the walk, with a figure, a scale and a bar on the screen.
    fn start(canvas: C) -> Self {
        let mut carried = Carried::start();
        while !(matches!(carried.app.handset.view().page, Page::Guide(guide) if guide.offset.is_some())) {
            carried.prepare();
            carried.step(0);
        }
        Self { carried, canvas }
    }
}

impl<const W: usize, const H: usize> Work for Drawn<Canvas<W, H>> {
    type Outcome = u32;

    fn step(&mut self, _: u32) -> u32 {
        let Ok(()) = draw(&self.carried.app.handset.view(), &mut self.canvas);
        self.canvas.rows().as_flattened().iter().fold(0, |sum, byte| sum * 31 + u32::from(*byte))
    }
}

pub fn measure_all(meter: &mut impl Meter) {
    meter.measure("handset.whole", WHOLE, Carried::start);
    meter.measure("handset.interrupt", INTERRUPT, || Fast(Carried::start()));
    meter.measure("screen.small", Plan::steps(16), || Drawn::start(Small::new()));
    meter.measure("screen.large", Plan::steps(16), || Drawn::start(Large::new()));
    replay(meter);
}

/// Walk once more, and tell what the person with the mast is told. How deep the stack gets on the way is measured.
#[inline(never)]
fn replay(meter: &mut impl Meter) {
    let mut carried = Carried::start();
    let mut said = Said::new();
    meter.stack("handset", || locate(&mut carried, &mut said));
    for Told { now_ms, now, rung, way_mm } in &said {
        match way_mm {
            Some([ahead, left]) => {
                say!("# {} ms, rung {}: {}, {} mm ahead, {} mm left", now_ms, rung, now, ahead, left)
            }
            None => say!("# {} ms, rung {}: {}", now_ms, rung, now),
        }
    }
    let HashedBook { kinds, fixes, .. } = &carried.bench.book;
    fixes.iter().for_each(tell);
    for (kind, count) in Kind::ALL.iter().zip(kinds) {
        say!("# {} of {}", count, kind.name());
    }
    say!("# {} screens, watchdog fed {} times", carried.bench.screens, carried.bench.meals);
    let Some(Fix { judgement, .. }) = fixes.last() else { panic!("no station with a fix") };
    let off_m = judgement.depth.map(|depth| (depth.depth_m - walk::DEPTH_M).abs());
    assert!(
        judgement.verdict == Verdict::Agree && off_m.is_some_and(|off| off < 0.05),
        "not where the source is"
    );
    assert!(kinds[usize::from(Kind::Fault.code()) - 1] == 0, "a fault on a faultless walk");
    assert!(kinds[usize::from(Kind::Header.code()) - 1] == 2, "one recording for each locate");
}

/// What the person with the mast was told, when and on which rung.
struct Told {
    now_ms: u32,
    rung: u8,
    now: &'static str,
    /// Ahead and to the left, where that is known.
    way_mm: Option<[i32; 2]>,
}

type Said = heapless::Vec<Told, 32>;

/// In whole millimetres: what is said holds no floats.
fn millimetres(metres: f32) -> i32 {
    nullwalk_core::math::round(1000.0 * metres) as i32
}

fn tell(fix: &Fix) {
    let Judgement { verdict, depth, range, .. } = &fix.judgement;
    let (verdict, [east, north]) =
        (words::verdict_word(*verdict), fix.place.map_or([0.0; 2], |place| [place.east_m, place.north_m]));
    let (Some(depth), Some(range)) = (depth, range) else {
        say!("# fix: {}. {}", verdict, words::CAUTION_NOTHING);
        return;
    };
    let [down, low, high, east, north] =
        [depth.depth_m, range.low_m, range.high_m, east, north].map(millimetres);
    say!("# fix: {}, {} mm down to the source, 95 %: {} to {} mm", verdict, down, low, high);
    say!("#      {} mm east, {} mm north. {}", east, north, words::CAUTION_DEPTH);
}

/// Never inlined, so that its deepest stack can be told from the code, too.
#[inline(never)]
fn locate(carried: &mut Carried, said: &mut Said) {
    for _ in 0..BLOCKS {
        carried.prepare();
        carried.step(0);
        let View { page, rung, .. } = carried.app.handset.view();
        let now = match &page {
            Page::Guide(guidance) => words::phase_word(guidance.phase),
            Page::Fix(fix) => words::verdict_word(fix.judgement.verdict),
            Page::Done(..) => "station kept",
            _ => "no samples yet",
        };
        if said.last().is_none_or(|before| before.now != now) {
            let offset = if let Page::Guide(guidance) = &page { guidance.offset } else { None };
            let way_mm = offset.map(|offset| offset.way_m.to_array().map(millimetres));
            // What is left out would be told on the host as well.
            let _ = said.push(Told { now_ms: carried.bench.now_ms, rung, now, way_mm });
        }
    }
    begin_anew(carried);
}

/// By the menu: open it, two up to the new locate, and yes.
fn begin_anew(carried: &mut Carried) {
    let Carried { app, bench, .. } = carried;
    for key in [Key::Enter, Key::Up, Key::Up, Key::Enter, Key::Down, Key::Enter] {
        app.handset.press(key, Press::Short, &mut bench.book);
    }
}
