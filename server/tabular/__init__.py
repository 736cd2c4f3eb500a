"""What the columns and cells of press logs mean; pure text, shared by the import and by collectors."""
