"""What a plan says, as a document, and what it is written from: verdict, steps, reasons, evidence."""
