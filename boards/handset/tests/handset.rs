//! What becomes of packets, presses, a failing book, an empty battery, and a loop that hangs.

#[path = "common/ram.rs"]
mod ram;

use embedded_graphics::draw_target::DrawTarget;
use glam::Vec3;
use nullwalk_core::array::{Array, CalibrationSigma, Coil, Node};
use nullwalk_core::frame::MastReading;
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::locate::{Settings, Sound};
use nullwalk_core::record::{Fault, FaultKind, Kind, Record, Reset};
use nullwalk_core::verdict::Reason;
use nullwalk_drivers::battery::Charge;
use nullwalk_drivers::buttons::Press::{self, Long, Short};
use nullwalk_drivers::converter::{Faults, Sample};
use nullwalk_handset::app::{App, Board};
use nullwalk_handset::book::Unkept;
use nullwalk_handset::duties::Watchdog;
use nullwalk_handset::intake::{Inlet, Packet, Packets};
use nullwalk_handset::menu::Key;
use nullwalk_handset::screen::Canvas;
use nullwalk_handset::selftest::Report;
use nullwalk_handset::view::Page;
use nullwalk_handset::{Fitting, Handset};
use ram::RamBook;

const FRAMES: usize = 40;

fn fitting() -> Fitting {
    let node = |first: u8, height_m: f32| {
        let coil =
            |n: u8, axis| Coil { channel: first + n, axis, turns_area_m2: 10.0, gain: 1.0, phase_rad: 0.0 };
        Node {
            position_m: Vec3::Z * height_m,
            coils: [coil(0, Vec3::X), coil(1, Vec3::Y), coil(2, Vec3::Z)],
        }
    };
    let sigma = CalibrationSigma { node_ratio: 0.005, scale: 0.05, tilt_rad: 0.003 };
    let rungs = [1.0, 4.0, 16.0, 64.0].map(|gain| Rung { gain, settle_s: 0.001 });
    Fitting {
        rate_hz: 8000.0,
        ticks_hz: 1_000_000,
        tone_hz: 512.0,
        ladder: Ladder::new(&rungs, 1.2, 1 << 23, 1.0).unwrap(),
        array: Array::new(&[node(0, 0.0), node(3, 0.4)], sigma, 0.1).unwrap(),
        settings: Settings::default(),
        build: "test".try_into().unwrap(),
        calibration: Default::default(),
        reset: Reset::PowerOn,
        last_words: Default::default(),
    }
}

/// A number of no pattern for each sample and channel.
fn sample(index: u64) -> Sample<6> {
    let counts = std::array::from_fn(|channel| {
        let mixed =
            (index as u32).wrapping_add(1).wrapping_mul(0x9E37_79B9).rotate_left(5 * channel as u32);
        mixed as i32 >> 24
    });
    Sample { index, rung: 0, counts, faults: Faults::default() }
}

/// A handset with its book, and the two ends of its queue.
struct Bench {
    handset: Handset<6>,
    book: RamBook,
    inlet: Inlet<'static, 6, FRAMES>,
    outlet: nullwalk_handset::intake::Outlet<'static, 6, FRAMES>,
    next: u64,
}

impl Bench {
    fn new() -> Self {
        let packets = Box::leak(Box::new(Packets::<6, FRAMES, 8>::new()));
        let (producer, outlet) = packets.split();
        let mut bench = Self {
            handset: Handset::new(fitting()).unwrap(),
            book: RamBook::default(),
            inlet: Inlet::new(producer),
            outlet,
            next: 0,
        };
        bench.handset.begin(&Report::default(), &mut bench.book);
        bench
    }

    fn sample(&mut self, samples: u64) {
        for index in self.next..self.next + samples {
            self.inlet.push(&sample(index), (125 * index) as u32);
        }
        self.next += samples;
    }

    fn take(&mut self) -> Vec<Packet<6, FRAMES>> {
        let packets: Vec<_> = std::iter::from_fn(|| self.outlet.dequeue()).collect();
        packets.iter().for_each(|packet| self.handset.take(packet, None, &mut self.book));
        self.handset.tick((self.next / 8) as u32, &mut self.book);
        packets
    }

    /// Samples that are taken as they come.
    fn run(&mut self, seconds: u64) {
        for _ in 0..seconds * 200 {
            self.sample(FRAMES as u64);
            self.take();
        }
    }

    fn press(&mut self, keys: &[(Key, Press)]) {
        keys.iter().for_each(|(key, press)| self.handset.press(*key, *press, &mut self.book));
    }

    fn faults(&self) -> Vec<Fault> {
        let faults = self.book.of(Kind::Fault).into_iter();
        faults
            .map(|record| if let Record::Fault(fault) = record { fault } else { unreachable!() })
            .collect()
    }
}

#[test]
fn a_recording_has_its_header_first_and_ten_hops_a_second() {
    let mut bench = Bench::new();
    bench.run(5);
    let kinds: Vec<Kind> = bench.book.all().map(|record| record.kind()).collect();
    assert_eq!(kinds[0], Kind::Header);
    // The window has to fill first.
    let hops = kinds.iter().filter(|kind| **kind == Kind::Hop).count();
    assert!((40..=50).contains(&hops), "{hops}");
    assert!(bench.faults().is_empty(), "{:?}", bench.faults());
    assert!(matches!(bench.handset.view().page, Page::Guide(_)));
}

#[test]
fn what_does_not_fit_the_queue_is_counted_marked_and_survived() {
    let mut bench = Bench::new();
    bench.run(2);
    // Nobody takes packets for half a second; seven fit the queue, and one more is being filled.
    bench.sample(4000);
    let kept: u64 = bench.take().iter().map(|packet| packet.filled.block().frames.len() as u64).sum();
    assert_eq!(kept, 7 * FRAMES as u64);
    bench.run(3);
    let lost = bench.handset.total(FaultKind::Overrun);
    assert_eq!(u64::from(lost), 4000 - kept);
    assert_eq!(bench.faults().iter().map(|fault| fault.kind).collect::<Vec<_>>(), [FaultKind::Overrun]);
    // The hops say so too, and go on.
    let gaps =
        bench.book.all().filter(|record| matches!(record, Record::Hop(hop) if hop.phasors.marks.gap));
    assert!(gaps.count() > 0);
    let Some(Record::Hop(last)) = bench.book.of(Kind::Hop).pop() else { unreachable!() };
    assert!(!last.phasors.marks.gap && last.phasors.centre > bench.next - 8000);
}

#[test]
fn a_station_without_a_fix_says_why_and_numbers_go_on() {
    let mut bench = Bench::new();
    bench.handset.resume_after(11);
    bench.run(2);
    bench.press(&[(Key::Enter, Long), (Key::Mark, Short)]);
    let stations: Vec<_> = bench
        .book
        .of(Kind::Station)
        .into_iter()
        .map(|record| if let Record::Station(station) = record { station } else { unreachable!() })
        .collect();
    assert_eq!(stations.iter().map(|station| station.number).collect::<Vec<_>>(), [12, 13]);
    let why = stations[0].found.as_ref().unwrap_err();
    assert!(why.as_slice().contains(&Reason::NoTone));
    assert!(matches!(&bench.handset.view().page, Page::Done(what, _) if what == "Station 13"));
    bench.run(3);
    assert!(matches!(bench.handset.view().page, Page::Guide(_)));
}

#[test]
fn what_is_not_kept_is_said_and_not_counted() {
    let mut bench = Bench::new();
    bench.run(1);
    for (unkept, notice) in [(Unkept::Failed, "NOT KEPT"), (Unkept::Full, "book is full")] {
        bench.book.refuses = Some(unkept);
        bench.run(1);
        bench.press(&[(Key::Mark, Short)]);
        assert!(matches!(&bench.handset.view().page, Page::Done(what, _) if what == "NOT KEPT"));
        assert_eq!(bench.handset.view().notice, Some(notice));
    }
    bench.book.refuses = None;
    bench.run(11);
    assert_eq!(bench.handset.view().notice, None);
    bench.press(&[(Key::Mark, Short)]);
    let [Record::Station(station)] = &bench.book.of(Kind::Station)[..] else { panic!("one station") };
    assert_eq!(station.number, 1);
    // That it failed stands in the book, once it could.
    let kinds: Vec<_> = bench.faults().iter().map(|fault| fault.kind).collect();
    assert!(
        kinds.contains(&FaultKind::StorageFailed) && kinds.contains(&FaultKind::StorageFull),
        "{kinds:?}"
    );
}

#[test]
fn an_empty_battery_closes_the_book_for_good() {
    let mut bench = Bench::new();
    bench.run(2);
    bench.handset.battery(Charge::Low, &mut bench.book);
    assert_eq!(bench.handset.view().notice, Some("battery low"));
    bench.handset.battery(Charge::Empty, &mut bench.book);
    bench.handset.battery(Charge::Empty, &mut bench.book);
    assert_eq!(bench.book.closed, 1);
    let last = bench.book.all().last().unwrap();
    assert!(matches!(last, Record::Fault(Fault { kind: FaultKind::BatteryLow, .. })));
    let records = bench.book.records.len();
    bench.run(2);
    bench.press(&[(Key::Mark, Short), (Key::Enter, Long)]);
    assert_eq!(bench.book.records.len(), records);
    assert!(matches!(bench.handset.view().page, Page::Closed(_)));
    assert_eq!(bench.handset.sound().loudness, 0.0);
    // Charged, it can be opened: a new recording.
    bench.handset.battery(Charge::Full, &mut bench.book);
    bench.press(&[(Key::Enter, Long)]);
    assert!(matches!(bench.book.all().last(), Some(Record::Header(_))));
}

#[test]
fn three_buttons_do_everything() {
    let mut bench = Bench::new();
    bench.run(1);
    let [up, down, enter] = [(Key::Up, Short), (Key::Down, Short), (Key::Enter, Short)];
    // The second tone.
    bench.press(&[enter, down, down, enter, down, enter]);
    assert_eq!(bench.handset.view().tone_hz, 640.0);
    let Some(Record::Header(header)) = bench.book.all().last() else { panic!("a new recording") };
    assert_eq!(header.tone_hz, 640.0);
    // Rung 2 is held.
    bench.press(&[enter, down, down, down, enter, down, down, down, enter]);
    assert!(bench.handset.view().held);
    bench.run(1);
    assert_eq!(bench.handset.wanted_rung(), 2);
    // A note.
    bench.press(&[enter, down, enter, down, down, enter]);
    assert!(
        matches!(bench.book.all().last(), Some(Record::Note(note)) if note.text == "cable or fence near")
    );
    // Sun and silence.
    bench.press(&[enter, down, down, down, down, enter]);
    assert!(bench.handset.view().night);
    bench.press(&[enter, up, up, up, enter]);
    assert!(bench.handset.view().mute);
    // The book is closed only when it was said twice.
    bench.press(&[enter, up, enter, enter, (Key::Enter, Long)]);
    assert_eq!(bench.book.closed, 0);
    bench.press(&[enter, up, enter, down, enter]);
    assert_eq!(bench.book.closed, 1);
}

#[test]
fn silence_of_the_converter_is_said_once_and_ends() {
    let mut bench = Bench::new();
    bench.run(1);
    for ms in (1000..5000).step_by(50) {
        bench.handset.tick(ms, &mut bench.book);
    }
    assert!(matches!(bench.handset.view().page, Page::Fault(FaultKind::ConverterSilent, None)));
    let told: Vec<_> = bench.faults().iter().map(|fault| fault.kind).collect();
    assert_eq!(told, [FaultKind::ConverterSilent]);
    bench.next += 4 * 8000;
    bench.run(1);
    assert!(!bench.handset.is_silent());
}

/// A board without hardware.
#[derive(Default)]
struct Desk {
    now_ms: u32,
    utc_s: Option<u64>,
    fed_ms: u32,
    hungriest_ms: u32,
    canvas: Canvas<16, 64>,
    shown: u32,
    book: RamBook,
    rung: u8,
}

impl Watchdog for Desk {
    fn feed(&mut self) {
        self.hungriest_ms = self.hungriest_ms.max(self.now_ms - self.fed_ms);
        self.fed_ms = self.now_ms;
    }
}

impl Board for Desk {
    type Display = Canvas<16, 64>;
    type Book = RamBook;

    fn now_ms(&mut self) -> u32 {
        self.now_ms
    }
    fn presses(&mut self) -> [Option<Press>; 5] {
        [None; 5]
    }
    fn mast(&mut self, _: u64) -> Option<MastReading> {
        None
    }
    fn utc_s(&mut self) -> Option<u64> {
        self.utc_s.take()
    }
    fn charge(&mut self) -> Charge {
        Charge::Full
    }
    fn set_rung(&mut self, rung: u8) {
        self.rung = rung;
    }
    fn play(&mut self, sound: Sound) {
        assert!(sound.loudness <= 1.0);
    }
    fn display(&mut self) -> &mut Canvas<16, 64> {
        &mut self.canvas
    }
    fn show(&mut self) {
        self.shown += 1;
    }
    fn book(&mut self) -> &mut RamBook {
        &mut self.book
    }
}

#[test]
fn the_watchdog_is_fed_for_progress_and_for_nothing_else() {
    let mut bench = Bench::new();
    let mut desk = Desk::default();
    let mut handset = bench.handset;
    handset.begin(&Report::default(), &mut desk.book);
    let mut app = App::new(handset, bench.outlet);
    let mut run = |app: &mut App<'_, 6, FRAMES>, desk: &mut Desk, seconds: u32, samples: bool| {
        for _ in 0..seconds * 200 {
            desk.now_ms += 5;
            if samples {
                for index in bench.next..bench.next + FRAMES as u64 {
                    bench.inlet.push(&sample(index), (125 * index) as u32);
                }
                bench.next += FRAMES as u64;
            }
            app.turn(desk);
        }
    };
    run(&mut app, &mut desk, 5, true);
    assert!(desk.hungriest_ms <= 105, "{}", desk.hungriest_ms);
    assert!((49..=51).contains(&desk.shown), "{}", desk.shown);
    // The signal is weak: the ladder goes up.
    assert_eq!(desk.rung, 1);

    // Samples stop. Until that is told, there is no progress; then the person is to read it, not to see a restart.
    desk.hungriest_ms = 0;
    run(&mut app, &mut desk, 5, false);
    assert!((400..=700).contains(&desk.hungriest_ms), "{}", desk.hungriest_ms);
    assert!(desk.now_ms - desk.fed_ms <= 105);

    // A loop that hangs feeds nothing: nobody but a turn does.
    let fed_ms = desk.fed_ms;
    desk.now_ms += 10_000;
    assert_eq!(desk.fed_ms, fed_ms);
}

#[test]
fn canvases_take_what_is_drawn_beside_them() {
    use embedded_graphics::pixelcolor::BinaryColor::On;
    use embedded_graphics::prelude::{Pixel, Point, Size};
    use embedded_graphics::primitives::Rectangle;
    let mut byte_wise = Canvas::<4, 20>::new();
    let mut pixel_wise = Canvas::<4, 20>::new();
    for (x, y, width, height) in [
        (-5, -5, 8, 8),
        (3, 3, 2, 1),
        (6, 5, 20, 4),
        (8, 12, 8, 2),
        (30, 18, 50, 50),
        (i32::MAX, i32::MIN, 9, 9),
    ] {
        let area = Rectangle::new(Point::new(x, y), Size::new(width, height));
        let Ok(()) = byte_wise.fill_solid(&area, On);
        if x < 100 {
            use embedded_graphics::primitives::PointsIter as _;
            let Ok(()) = pixel_wise.draw_iter(area.points().map(|at| Pixel(at, On)));
        }
    }
    assert!(byte_wise == pixel_wise);
    assert!(byte_wise.is_lit(0, 0) && byte_wise.is_lit(31, 19) && !byte_wise.is_lit(4, 4));
}

/// GNSS tells the time once; from there it goes on, into stations and the headers of recordings.
#[test]
fn stations_and_headers_carry_the_time() {
    let bench = Bench::new();
    let (mut desk, mut handset) = (Desk::default(), bench.handset);
    handset.begin(&Report::default(), &mut desk.book);
    let mut app = App::new(handset, bench.outlet);
    desk.utc_s = Some(1_158_756_904);
    for now_ms in [400, 3_000, 90_000] {
        desk.now_ms = now_ms;
        app.turn(&mut desk);
    }
    app.handset.press(Key::Mark, Short, &mut desk.book);
    app.handset.begin(&Report::default(), &mut desk.book);
    let told = |kind: Kind| -> Vec<Option<u64>> {
        let utc_s = |record| match record {
            Record::Header(header) => header.utc_s,
            Record::Station(station) => station.utc_s,
            _ => None,
        };
        desk.book.of(kind).into_iter().map(utc_s).collect()
    };
    let after_89_s = Some(1_158_756_904 + 89);
    assert_eq!(told(Kind::Header), [None, after_89_s]);
    assert_eq!(told(Kind::Station), [after_89_s]);
}
