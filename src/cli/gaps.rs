use super::args::GapsArgs;
use super::context::{Context, Failure, Status};
use std::io::Write;
pub(super) fn run(
    _context: &mut Context,
    _args: &GapsArgs,
    _out: &mut dyn Write,
    _err: &mut dyn Write,
) -> Result<Status, Failure> {
    Ok(Status::Done)
}
