//! Where each of the five agreements stands.

use time::OffsetDateTime;

use super::{ConsentRecord, Tick};

/// Where one agreement stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Agreement {
    /// Given with the newest signature.
    Given {
        /// When.
        at: OffsetDateTime,
    },
    /// Taken back since.
    Withdrawn {
        /// When.
        at: OffsetDateTime,
    },
    /// Never given, or left out when she last signed.
    NotGiven,
}

/// Where an agreement stands after all signatures, newest first, and all withdrawals. The newest signature decides; a
/// refusal to sign for a visit says nothing of the others. Without one of the two that a visit needs a signature ends, and
/// nobody is treated on it; the other one was still not taken back.
pub fn agreement<'a>(
    records: impl IntoIterator<Item = &'a ConsentRecord>,
    withdrawals: &[(Tick, OffsetDateTime)],
    tick: Tick,
) -> Agreement {
    let signed = records.into_iter().find_map(|record| match record {
        ConsentRecord::Signed(signed) => Some(signed),
        ConsentRecord::Refused { .. } => None,
    });
    let Some(signed) = signed.filter(|signed| signed.ticks.contains(&tick)) else { return Agreement::NotGiven };
    let since = |(what, at): &&(Tick, OffsetDateTime)| *what == tick && *at >= signed.at;
    let taken_back = withdrawals.iter().filter(since).map(|(_, at)| *at).min();
    match taken_back {
        Some(at) => Agreement::Withdrawn { at },
        None => Agreement::Given { at: signed.at },
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use time::Duration;
    use time::macros::datetime;

    use super::*;
    use crate::domain::consent::{Signed, Subject, TypedName};
    use crate::domain::fingerprint::Fingerprint;
    use crate::domain::ids::ConsentId;

    const AT: OffsetDateTime = datetime!(2026-03-02 09:00 UTC);

    fn subject() -> Subject {
        let empty = Fingerprint::of(b"");
        Subject { text: empty, answers: empty, products: BTreeSet::new(), service: None }
    }

    fn signed(ticks: &[Tick], at: OffsetDateTime) -> ConsentRecord {
        ConsentRecord::Signed(Box::new(Signed {
            id: ConsentId::from_random([1; 16]),
            subject: subject(),
            ticks: ticks.iter().copied().collect(),
            name: TypedName::parse("Mia").unwrap(),
            drawing: None,
            guardian: None,
            at,
            withdrawn_at: None,
        }))
    }

    #[test]
    fn the_newest_signature_decides_and_a_withdrawal_takes_one_back_alone() {
        let early = signed(&Tick::ALL, AT);
        let late = signed(&[Tick::Treatment, Tick::HealthData, Tick::Marketing], AT + Duration::DAY);
        let of = |records: &[&ConsentRecord], back: &[(Tick, OffsetDateTime)], tick| {
            agreement(records.iter().copied(), back, tick)
        };
        assert_eq!(of(&[&early], &[], Tick::RecordPhotos), Agreement::Given { at: AT });
        assert_eq!(of(&[&late, &early], &[], Tick::RecordPhotos), Agreement::NotGiven);
        assert_eq!(of(&[], &[], Tick::Treatment), Agreement::NotGiven);
        let refused = ConsentRecord::Refused { subject: subject(), at: AT + Duration::DAY };
        assert_eq!(of(&[&refused, &early], &[], Tick::PublicityPhotos), Agreement::Given { at: AT });
        let back = [(Tick::Marketing, AT + Duration::HOUR)];
        assert_eq!(of(&[&early], &back, Tick::Marketing), Agreement::Withdrawn { at: AT + Duration::HOUR });
        assert_eq!(of(&[&early], &back, Tick::RecordPhotos), Agreement::Given { at: AT });
        assert_eq!(of(&[&late, &early], &back, Tick::Marketing), Agreement::Given { at: AT + Duration::DAY });
    }

    #[test]
    fn what_is_taken_back_as_it_is_signed_is_taken_back() {
        let record = signed(&Tick::ALL, AT);
        let back = [(Tick::Marketing, AT), (Tick::RecordPhotos, AT - Duration::SECOND)];
        assert_eq!(agreement([&record], &back, Tick::Marketing), Agreement::Withdrawn { at: AT });
        assert_eq!(agreement([&record], &back, Tick::RecordPhotos), Agreement::Given { at: AT }, "that was before");
    }
}
