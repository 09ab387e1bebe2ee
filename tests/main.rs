mod git;
