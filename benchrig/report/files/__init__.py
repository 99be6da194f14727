"""One file a report. Its REPORT says what it is called and how it is written."""
