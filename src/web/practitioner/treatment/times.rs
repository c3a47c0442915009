//! Times by side in the record's form: filled from what was pressed, or written by hand.

use time::{Duration, OffsetDateTime, PrimitiveDateTime};

use crate::actions::chair as at_chair;
use crate::actions::treating::lies_within;
use crate::domain::catalogue::Area;
use crate::domain::steps::Part;
use crate::domain::timing::{Side, SideTime};
use crate::store::treatments::Version;
use crate::store::visits::Visit;
use crate::store::{Connection, Stored};
use crate::web::form::{Errors, Fields};
use crate::web::practitioner::view::Names;
use crate::web::practitioner::{read, words};
use crate::{t, tf};

/// One line: a step on one side.
pub(super) struct Row {
    pub(super) on: String,
    pub(super) off: String,
    /// `First lotion, right eye`
    pub(super) label: String,
    step: String,
    side: Side,
    part: Part,
    most_seconds: u16,
    /// How long it was to stay.
    seconds: u16,
    /// When it is known to have gone on and come off; the fields show its time of day alone.
    known: (Option<OffsetDateTime>, Option<OffsetDateTime>),
}

/// What a line is filled with.
struct Filled {
    on: OffsetDateTime,
    off: Option<OffsetDateTime>,
    seconds: Option<u16>,
}

/// The lines of a record's form, and what they are filled with: from the version that is corrected, else from the presses.
pub(super) async fn rows(
    c: &mut Connection,
    visit: &Visit,
    area: Area,
    corrected: Option<&Version>,
    names: &Names,
) -> Stored<(Vec<Row>, Vec<(String, String)>)> {
    let plan = at_chair::plan_of(c, visit).await?;
    // A line that was left empty stays so, unless presses came in since.
    let pressed_since = match corrected {
        Some(version) => at_chair::came_after(c, &visit.id, version.written_at).await?,
        None => true,
    };
    let worn = if pressed_since { at_chair::worn(c, &visit.id).await? } else { Vec::new() };
    let (mut rows, mut filled) = (Vec::new(), Vec::new());
    for (number, step) in plan.steps().iter().enumerate() {
        let Some(minutes) = step.minutes() else { continue };
        for side in Side::ALL {
            let pressed = worn.iter().filter(|one| usize::from(one.step) == number && one.side == side);
            let pressed = pressed.map(|one| Filled { on: one.on, off: one.off, seconds: Some(one.seconds) });
            let written = corrected.map_or(&[][..], |version| &version.times).iter();
            let written = written.filter(|time| time.step == step.name() && time.side == side).map(|time| Filled {
                on: time.on,
                off: Some(time.off),
                seconds: time.up.and_then(|up| u16::try_from((up - time.on).whole_seconds()).ok()),
            });
            let mut known: Vec<Option<Filled>> = written.map(Some).collect();
            if known.is_empty() {
                known.extend(pressed.map(Some));
            }
            if known.is_empty() {
                known.push(None);
            }
            for (round, known) in known.into_iter().enumerate() {
                let key = format!("{number}_{}_{round}", side.as_str());
                let (on, off) = (format!("on_{key}"), format!("off_{key}"));
                if let Some(known) = &known {
                    filled.push((on.clone(), names.second(known.on)));
                    filled.extend(known.off.map(|at| (off.clone(), names.second(at))));
                }
                rows.push(Row {
                    on,
                    off,
                    label: format!("{}, {}", t(step.name()), words::side_within(side, area)),
                    step: step.name().to_owned(),
                    side,
                    part: step.part(),
                    most_seconds: minutes.most * 60,
                    known: known.as_ref().map_or((None, None), |known| (Some(known.on), known.off)),
                    seconds: known.and_then(|known| known.seconds).unwrap_or(minutes.usual * 60),
                });
            }
        }
    }
    Ok((rows, filled))
}

/// Reads the lines that are filled; of each the part that it belongs to. All of them lie in the treatment.
pub(super) fn read_all(
    rows: &[Row],
    errors: &mut Errors,
    fields: &Fields,
    span: (OffsetDateTime, OffsetDateTime),
    names: &Names,
) -> Vec<(Part, SideTime)> {
    let mut times = Vec::new();
    for row in rows {
        if fields.trimmed(&row.on).is_empty() && fields.trimmed(&row.off).is_empty() {
            continue;
        }
        let on = read_one(errors, fields, (&row.on, row.known.0), span, names);
        let off = read_one(errors, fields, (&row.off, row.known.1), span, names);
        let (Some(on), Some(off)) = (on, off) else { continue };
        if off < on {
            errors.add(&row.off, t("That is before it went on."));
            continue;
        }
        let up = on + Duration::seconds(i64::from(row.seconds));
        let time = SideTime {
            step: row.step.clone(),
            side: row.side,
            on,
            up: Some(up).filter(|up| *up <= off),
            off,
            most_seconds: row.most_seconds,
        };
        times.push((row.part, time));
    }
    times
}

/// A time of day within the treatment, which may go past midnight. What was left as it was pressed keeps its day.
fn read_one(
    errors: &mut Errors,
    fields: &Fields,
    (field, known): (&str, Option<OffsetDateTime>),
    (from, to): (OffsetDateTime, OffsetDateTime),
    names: &Names,
) -> Option<OffsetDateTime> {
    let within = |at: &OffsetDateTime| lies_within(*at, from, to);
    let at = match known.filter(|known| names.second(*known) == fields.trimmed(field)) {
        Some(known) => known,
        None => {
            let time = read::second(errors, fields, field)?;
            let on = |day| names.zone.to_instant(PrimitiveDateTime::new(day, time));
            let (first, last) = (on(names.zone.date_at(from)), on(names.zone.date_at(to)));
            let first = errors.take(field, first, |refusal| words::civil(*refusal))?;
            if within(&first) { first } else { last.ok().filter(within).unwrap_or(first) }
        }
    };
    if !within(&at) {
        let said = tf("That is {when}, outside of From and Until.").with("when", names.moment(at));
        errors.add(field, said);
        return None;
    }
    Some(at)
}

/// The minutes of a part, to the nearest: the side that wore it longest counts.
pub(super) fn minutes_of(times: &[(Part, SideTime)], part: Part) -> Option<u16> {
    let of_side = |side| {
        let own = times.iter().filter(|(one, time)| *one == part && time.side == side);
        own.map(|(_, time)| time.length().whole_seconds()).sum::<i64>()
    };
    let longest = Side::ALL.into_iter().map(of_side).max().filter(|seconds| *seconds > 0)?;
    u16::try_from((longest + 30) / 60).ok().map(|minutes| minutes.min(super::MINUTES_MOST))
}
