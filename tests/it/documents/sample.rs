//! An invented client with something in every part of her record. All names, products and places are made up.

use palpebra::documents::record::*;
use palpebra::domain::ids::*;
use time::macros::{date, datetime};
use time::{Date, OffsetDateTime, PrimitiveDateTime, UtcOffset};

/// The studio's clock runs two hours ahead of UTC in this sample.
pub(crate) fn moment(utc: OffsetDateTime) -> Moment {
    let there = utc.to_offset(UtcOffset::from_hms(2, 0, 0).unwrap());
    Moment { utc, local: PrimitiveDateTime::new(there.date(), there.time()) }
}

pub(crate) fn head() -> ExportHead {
    ExportHead {
        id: ExportId::from_random([9; 16]),
        studio: Studio {
            name: "Fernlight Lash Room".to_owned(),
            address: "4 Mill Lane\n12345 Sampleton".to_owned(),
            zone: "Europe/Berlin".to_owned(),
        },
        at: moment(datetime!(2026-06-30 09:15 UTC)),
        by: "Ida Quillfeather (owner)".to_owned(),
        why: "Asked for by the insurer, file 77-B".to_owned(),
        scope: Scope::Days { from: date!(2026 - 01 - 01), to: date!(2026 - 06 - 30) },
        locked_away: 0,
        program: "palpebra 0.1.0".to_owned(),
    }
}

fn hash(letter: char) -> String {
    letter.to_string().repeat(64)
}

fn answer(key: &str, question: &str, answer: &str, detail: Option<&str>) -> Answer {
    Answer {
        key: key.to_owned(),
        question: question.to_owned(),
        answer: answer.to_owned(),
        detail: detail.map(str::to_owned),
    }
}

fn used(step: &str, product: &str, batch: &str, expires: Date) -> ProductUse {
    ProductUse {
        step: step.to_owned(),
        product: product.to_owned(),
        batch: Some(batch.to_owned()),
        expires: Some(expires),
    }
}

/// A client; `n` tells one from another.
pub(crate) fn client(n: u8) -> ClientRecord {
    ClientRecord {
        id: ClientId::from_random([n; 16]),
        person: Person {
            name: format!("Zoë Łącka-Nørgård {n}"),
            birth_date: Some(date!(1994 - 02 - 17)),
            email: Some("zoe@example.com".to_owned()),
            phone: Some("+49301234567".to_owned()),
            address: Some("Reed Row 12\n12345 Sampleton".to_owned()),
            guardian: None,
            since: moment(datetime!(2026-01-05 10:00 UTC)),
        },
        answers: vec![answers()],
        skin_tests: vec![skin_test()],
        consents: vec![consent()],
        visits: vec![visit(n)],
        past_visits: vec![PastVisit {
            id: PastVisitId::from_random([n; 16]),
            service: "Lift and tint".to_owned(),
            day: date!(2025 - 11 - 07),
            note: Some("short shields, as always".to_owned()),
            taken_over_at: moment(datetime!(2026-01-05 10:00 UTC)),
        }],
        reactions: vec![reaction(n)],
        letters: vec![letter()],
        files: vec![Attached {
            name: "files/after-aaaa.jpeg".to_owned(),
            purpose: "after".to_owned(),
            about: "aaaa".to_owned(),
            sha256: hash('f'),
            added_at: moment(datetime!(2026-05-08 09:10 UTC)),
            added_by: "Maud Tansy".to_owned(),
        }],
        audit: (1..=40).map(audit_row).collect(),
    }
}

/// A certificate, and a policy that was taken off the list.
pub(crate) fn papers() -> Vec<Paper> {
    let policy = PaperId::from_random([8; 16]);
    let certificate = PaperId::from_random([7; 16]);
    vec![
        Paper {
            file: format!("{policy}.jpeg"),
            id: policy,
            practitioner: None,
            practitioner_id: None,
            number: "POL-77\u{2011}B".to_owned(),
            issuer: "Invented Mutual".to_owned(),
            services: vec!["Lash lift".to_owned(), "Lift and tint".to_owned()],
            expires_on: Some(date!(2026 - 12 - 31)),
            sha256: hash('e'),
            added_at: moment(datetime!(2026-01-05 10:00 UTC)),
            added_by: "Ida Quillfeather".to_owned(),
            removed_at: Some(moment(datetime!(2026-06-01 10:00 UTC))),
        },
        Paper {
            file: format!("{certificate}.pdf"),
            id: certificate,
            practitioner: Some("Maud Tansy".to_owned()),
            practitioner_id: Some(PractitionerId::from_random([5; 16])),
            number: "LL-2291".to_owned(),
            issuer: "=Invented School".to_owned(),
            services: vec!["Lift and tint".to_owned()],
            expires_on: None,
            sha256: hash('b'),
            added_at: moment(datetime!(2026-01-05 10:05 UTC)),
            added_by: "Ida Quillfeather".to_owned(),
            removed_at: None,
        },
    ]
}

fn answers() -> AnswerSet {
    AnswerSet {
        id: AnswersId::from_random([1; 16]),
        version: "3".to_owned(),
        hash: hash('a'),
        given_at: moment(datetime!(2026-05-02 18:40 UTC)),
        given_by: "the client, online".to_owned(),
        replaces: Some(AnswersId::from_random([2; 16])),
        answers: vec![
            answer("eye_infection", "Is there an infection, swelling or redness at an eye now?", "No", None),
            answer(
                "reaction_before",
                "Have you ever reacted to a tint, a lotion, glue or henna?",
                "Yes",
                Some("Itchy lids after a hair dye in 2019, gone the next day"),
            ),
            answer("eye_surgery", "Have your eyes been operated on in the last six months?", "No", None),
        ],
    }
}

fn skin_test() -> SkinTest {
    SkinTest {
        id: SkinTestId::from_random([3; 16]),
        applied_at: moment(datetime!(2026-05-04 08:00 UTC)),
        applied_by: "Maud Tansy".to_owned(),
        product: "Marrow Tint 3".to_owned(),
        batch: Some("MT3-0412".to_owned()),
        site: "behind the left ear".to_owned(),
        counts_from: Some(date!(2026 - 05 - 07)),
        valid_until: Some(date!(2026 - 11 - 04)),
        caveat: None,
        readings: vec![Reading {
            at: moment(datetime!(2026-05-06 22:30 UTC)),
            by: "the client".to_owned(),
            result: "no reaction".to_owned(),
            note: Some("clear skin".to_owned()),
        }],
    }
}

fn consent() -> Consent {
    let wave = (0..60u16).map(|x| (20 + x * 4, 60 + (x * 37 % 50)));
    Consent {
        id: ConsentId::from_random([4; 16]),
        title: "Consent to a lash lift and tint".to_owned(),
        text: "I was told how the lift and the tint work, what can go wrong and what to look out for afterwards.\n\
               I know that a skin test without a reaction does not rule out a later one, and that I can stop at any time."
            .to_owned(),
        version: "2".to_owned(),
        hash: hash('c'),
        answers: Some(AnswersId::from_random([1; 16])),
        ticks: vec![
            Tick { statement: "My health answers are true and complete.".to_owned(), ticked: true, taken_back_at: None },
            Tick { statement: "Photos may be kept in my record.".to_owned(), ticked: false, taken_back_at: None },
        ],
        typed_name: "Zoë Łącka-Nørgård".to_owned(),
        drawing: Some(Drawing { width: 320, height: 120, strokes: vec![wave.collect(), vec![(300, 100)]] }),
        guardian: None,
        signed_at: moment(datetime!(2026-05-02 18:52 UTC)),
        signed_by: "the client, online".to_owned(),
        withdrawn_at: None,
    }
}

fn visit(n: u8) -> Visit {
    let first = Treatment {
        id: TreatmentId::from_random([n; 16]),
        version: 1,
        written_at: moment(datetime!(2026-05-08 09:40 UTC)),
        written_by: "Maud Tansy".to_owned(),
        why_corrected: None,
        practitioner: "Maud Tansy".to_owned(),
        certificate: Some("LL-2291".to_owned()),
        service: "Lift and tint".to_owned(),
        started_at: moment(datetime!(2026-05-08 08:02 UTC)),
        ended_at: Some(moment(datetime!(2026-05-08 09:05 UTC))),
        shield: Some("M".to_owned()),
        shade: Some("deep brown".to_owned()),
        products: vec![
            used("first lotion", "Hollow Lift A", "HLA-881", date!(2027 - 01 - 31)),
            used("second lotion", "Hollow Lift B", "HLB-112", date!(2027 - 03 - 31)),
            used("tint", "Marrow Tint 3", "MT3-0412", date!(2026 - 12 - 31)),
        ],
        steps: vec![
            Step { name: "first lotion".to_owned(), minutes: 8 },
            Step { name: "second lotion".to_owned(), minutes: 7 },
        ],
        checks: vec![answer("contact_lenses", "Are contact lenses out?", "Yes", None)],
        outcome: Some("Even lift, no redness".to_owned()),
        client_comment: Some("Felt nothing".to_owned()),
        notes: Some("Left inner corner is short.".to_owned()),
        aftercare: Some(Aftercare {
            text: "Keep lashes dry for 24 hours.".to_owned(),
            version: "5".to_owned(),
            hash: hash('f'),
            given: "on paper and by mail".to_owned(),
        }),
    };
    let second = Treatment {
        version: 2,
        written_at: moment(datetime!(2026-05-08 16:10 UTC)),
        why_corrected: Some("Shield size was noted wrong".to_owned()),
        shield: Some("L".to_owned()),
        ..first.clone()
    };
    Visit {
        id: VisitId::from_random([n; 16]),
        service: "Lift and tint".to_owned(),
        practitioner: "Maud Tansy".to_owned(),
        practitioner_id: PractitionerId::from_random([5; 16]),
        room: Some("Garden room".to_owned()),
        starts: moment(datetime!(2026-05-08 08:00 UTC)),
        ends: moment(datetime!(2026-05-08 09:15 UTC)),
        booked_at: moment(datetime!(2026-05-02 18:53 UTC)),
        booked_by: "the client, online".to_owned(),
        state: "treated".to_owned(),
        readiness: Some(Readiness {
            at: moment(datetime!(2026-05-08 07:58 UTC)),
            verdict: "ask".to_owned(),
            rules_version: "4".to_owned(),
            rules_hash: hash('d'),
            reasons: vec![
                "Reaction to hair dye in 2019: ask what it was and when.".to_owned(),
                "Skin test of 4 May 2026 read without reaction.".to_owned(),
            ],
        }),
        overrides: vec![Override {
            at: moment(datetime!(2026-05-08 08:01 UTC)),
            by: "Maud Tansy".to_owned(),
            verdict: "ask".to_owned(),
            reason: "Asked: a single itch after home dye, none at this test".to_owned(),
        }],
        ticked: vec![
            Ticked {
                list: "on_the_day".to_owned(),
                point: "Lenses are out".to_owned(),
                by: "Maud Tansy".to_owned(),
                at: moment(datetime!(2026-05-08 07:59 UTC)),
            },
            Ticked {
                list: "hygiene".to_owned(),
                point: "Tools come from a closed pouch".to_owned(),
                by: "Maud Tansy".to_owned(),
                at: moment(datetime!(2026-05-08 07:59 UTC)),
            },
        ],
        guardian_present: Some(GuardianPresent {
            name: "Wendla Nørgård".to_owned(),
            noted_by: "Maud Tansy".to_owned(),
            at: moment(datetime!(2026-05-08 07:57 UTC)),
        }),
        bottles: vec![used("tint", "Marrow Tint 3", "MT3-0500", date!(2027 - 12 - 31))],
        treatments: vec![first, second],
    }
}

fn reaction(n: u8) -> Reaction {
    Reaction {
        visit: Some(VisitId::from_random([n; 16])),
        reported_at: moment(datetime!(2026-05-09 06:20 UTC)),
        reported_by: "the client, by phone".to_owned(),
        began: Some("the evening after".to_owned()),
        severity: "mild".to_owned(),
        signs: "slight redness of the right lid".to_owned(),
        action: "Rinsed; advised to see a doctor if it grows or sight changes".to_owned(),
        products: vec![used("tint", "Marrow Tint 3", "MT3-0412", date!(2026 - 12 - 31))],
        outcome: Some("gone after a day".to_owned()),
        closed_at: Some(moment(datetime!(2026-05-12 10:00 UTC))),
    }
}

fn letter() -> Letter {
    Letter {
        id: LetterId::from_random([6; 16]),
        from: "Dr Elowen Marsh, eye doctor".to_owned(),
        about: "dry eye".to_owned(),
        says: "lifts and tints allowed".to_owned(),
        dated: date!(2026 - 04 - 20),
        valid_until: Some(date!(2027 - 04 - 20)),
        recorded_at: moment(datetime!(2026-05-04 08:10 UTC)),
        recorded_by: "Maud Tansy".to_owned(),
    }
}

fn audit_row(number: u64) -> AuditRow {
    AuditRow {
        number,
        at: moment(datetime!(2026-05-02 18:53 UTC) + time::Duration::minutes(i64::try_from(number).unwrap())),
        who: "Maud Tansy (practitioner)".to_owned(),
        what: "record seen".to_owned(),
        object: format!("visit {number}"),
        hash: format!("{number:064x}"),
    }
}
