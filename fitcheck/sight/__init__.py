"""What is seen of a machine from where its viewers' eyes are."""
