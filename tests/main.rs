mod git;
mod property;
